// Package flux holds queries in Flux for what logd sends to a time series
// server, and dashboards made of them. Each query is a file with a comment that
// says what it answers.
//
// In a query ${bucket}, ${vessel}, ${trial} and ${run} stand for text, as
// dashboard servers put it in; v.timeRangeStart, v.timeRangeStop and
// v.windowPeriod are the record v of InfluxDB's own query editor.
//
// The dashboards are in Grafana's JSON model and are made from the queries by go
// generate; README.md says how to import them.
package flux

//go:generate go run ./generate

import (
	"embed"
	"fmt"
	"io/fs"
	"strings"
)

//go:embed *.flux
var files embed.FS

// Names lists the queries.
func Names() []string {
	found, _ := fs.Glob(files, "*.flux") // a constant pattern cannot fail
	for i := range found {
		found[i] = strings.TrimSuffix(found[i], ".flux")
	}
	return found
}

// Query returns the text of a query.
func Query(name string) (string, error) {
	text, err := files.ReadFile(name + ".flux")
	if err != nil {
		return "", fmt.Errorf("no query %q; there are %s", name, strings.Join(Names(), ", "))
	}
	return string(text), nil
}
