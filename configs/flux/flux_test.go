package flux

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The dashboards on the disk are those that the queries make.
func TestDashboardsAreGenerated(t *testing.T) {
	used := map[string]bool{}
	for _, d := range Dashboards() {
		want, err := d.JSON()
		if err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(filepath.Join("dashboards", d.Name+".json"))
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s.json is old (%v); run go generate ./configs/flux", d.Name, err)
		}
		if !json.Valid(got) {
			t.Errorf("%s.json is no JSON", d.Name)
		}
		for _, p := range d.Panels {
			used[p.Query] = true
		}
	}
	for _, name := range Names() {
		if !used[name] {
			t.Errorf("%s is on no dashboard", name)
		}
	}
	files, _ := filepath.Glob("dashboards/*.json")
	if len(files) != len(Dashboards()) {
		t.Errorf("%d files, %d dashboards", len(files), len(Dashboards()))
	}
}

// No two panels lie on each other, none reaches beyond the page, and a query
// uses no variable that its dashboard does not offer.
func TestPanelsHaveTheirPlace(t *testing.T) {
	for _, d := range Dashboards() {
		taken := map[[2]int]string{}
		for _, p := range d.Panels {
			if p.Column+p.Wide > 24 || p.Wide <= 0 || p.High <= 0 {
				t.Errorf("%s: %s is beyond the page", d.Name, p.Title)
			}
			for x := p.Column; x < p.Column+p.Wide; x++ {
				for y := p.Row; y < p.Row+p.High; y++ {
					if other, ok := taken[[2]int{x, y}]; ok {
						t.Fatalf("%s: %s lies on %s", d.Name, p.Title, other)
					}
					taken[[2]int{x, y}] = p.Title
				}
			}
			text, err := Query(p.Query)
			if err != nil {
				t.Fatal(err)
			}
			for _, name := range []string{"vessel", "trial", "run"} {
				offered := strings.Contains(strings.Join(d.Variables, " "), name)
				if strings.Contains(text, "${"+name+"}") && !offered {
					t.Errorf("%s: %s wants the variable %s", d.Name, p.Query, name)
				}
			}
		}
	}
}

// Every query says first what it answers.
func TestQueriesAreDocumented(t *testing.T) {
	for _, name := range Names() {
		text, err := Query(name)
		if err != nil {
			t.Fatal(err)
		}
		if len(about(text)) < 30 {
			t.Errorf("%s.flux does not say what it answers", name)
		}
	}
	if _, err := Query("absent"); err == nil {
		t.Error("a query that is not there was found")
	}
}
