// Writes what the server embeds: one script, one style sheet, the page and the
// licence of what is bundled. The same sources give the same bytes, so that a
// test can tell whether the committed files are those of the sources.
//
//   node build.mjs [DIR]      into DIR, by default ../assets
import { cp, mkdir, readFile, writeFile } from "node:fs/promises"
import { dirname, join } from "node:path"
import { fileURLToPath } from "node:url"
import { build } from "esbuild"

const here = dirname(fileURLToPath(import.meta.url))
const out = process.argv[2] ?? join(here, "..", "assets")
await mkdir(out, { recursive: true })

await build({
  absWorkingDir: here,
  entryPoints: { app: "src/main.js" },
  outdir: out,
  bundle: true,
  minify: true,
  format: "esm",
  target: ["es2022"],
  charset: "utf8",
  legalComments: "none", // licences stand in LICENSES.txt
})
await cp(join(here, "src", "icon.svg"), join(out, "icon.svg"))
await writeFile(join(out, "index.html"), (await readFile(join(here, "src", "index.html"), "utf8")).trim().replaceAll("\n", "") + "\n")

const uplot = join(here, "node_modules", "uplot")
const { version } = JSON.parse(await readFile(join(uplot, "package.json"), "utf8"))
const licence = await readFile(join(uplot, "LICENSE"), "utf8")
await writeFile(join(out, "LICENSES.txt"), `app.js and app.css contain uPlot ${version}:\n\n${licence.trim()}\n`)
