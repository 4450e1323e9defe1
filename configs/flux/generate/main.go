// Command generate writes the dashboards beside the queries. It is run by go
// generate in configs/flux.
package main

import (
	"log"
	"os"
	"path/filepath"

	"trialday.example/logd/configs/flux"
)

func main() {
	for _, d := range flux.Dashboards() {
		text, err := d.JSON()
		if err != nil {
			log.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join("dashboards", d.Name+".json"), text, 0o644); err != nil {
			log.Fatal(err)
		}
	}
}
