package page

import (
	"crypto/sha256"
	"fmt"
	"io/fs"
	"net/http"
)

// static serves the files of the page that are built into the program, each
// with a tag of its content, so that a browser asks again and gets only what is
// new to it.
type static struct {
	files http.Handler
	tags  map[string]string
}

// newStatic makes the handlers of the page itself and of the files below it.
func newStatic(assets fs.FS) (index, files http.Handler) {
	s := static{http.FileServerFS(assets), make(map[string]string)}
	_ = fs.WalkDir(assets, ".", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		text, err := fs.ReadFile(assets, path)
		s.tags["/"+path] = fmt.Sprintf(`W/"%x"`, sha256.Sum256(text))
		return err
	})
	index = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.head(w, "/index.html")
		http.ServeFileFS(w, r, assets, "index.html")
	})
	return index, s
}

// ServeHTTP serves files, but no lists of them.
func (s static) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if s.tags[r.URL.Path] == "" {
		http.NotFound(w, r)
		return
	}
	s.head(w, r.URL.Path)
	s.files.ServeHTTP(w, r)
}

func (s static) head(w http.ResponseWriter, path string) {
	w.Header().Set("ETag", s.tags[path])
	w.Header().Set("Cache-Control", "no-cache")
}
