package page

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"strconv"

	"trialday.example/logd/sink/logbook"
	"trialday.example/logd/sink/results"
)

// Trial is one trial that is served.
type Trial struct {
	Number     int    `json:"number"`
	Name       string `json:"name"`
	Start      string `json:"start"` // RFC 3339; by the recorder's clock while there are no results
	End        string `json:"end"`   // of the last frame known of; "" where none is
	Closed     bool   `json:"closed"`
	HasResults bool   `json:"has_results"`
	Dir        string `json:"-"`
}

// path is that of one of the trial's files.
func (t *Trial) path(file string) string { return filepath.Join(t.Dir, file) }

// Open returns how the trials of a directory are listed: those of a logbook, or
// the one whose results are in the directory itself.
func Open(dir string) (func() ([]Trial, error), error) {
	if _, err := os.Stat(dir); err != nil {
		return nil, fmt.Errorf("trials: %w", err)
	}
	if t, err := logbook.At(dir); err == nil {
		return func() ([]Trial, error) { return one(t) }, nil
	}
	if _, err := os.Stat(filepath.Join(dir, "results.json")); err == nil {
		return func() ([]Trial, error) {
			t := Trial{Number: 1, Dir: dir, Closed: true}
			t.fill()
			return []Trial{t}, nil
		}, nil
	}
	book, err := logbook.Open(dir)
	if err != nil {
		return nil, err
	}
	return func() ([]Trial, error) { return Trials(book) }, nil
}

// Trials lists those of a logbook.
func Trials(book *logbook.Logbook) ([]Trial, error) {
	found, err := book.Trials()
	if err != nil {
		return nil, err
	}
	list := make([]Trial, 0, len(found))
	for i := range found {
		list = append(list, trial(&found[i]))
	}
	return list, nil
}

func one(t logbook.Trial) ([]Trial, error) {
	if err := t.Reload(); err != nil {
		return nil, err
	}
	return []Trial{trial(&t)}, nil
}

// trial is a logbook's trial as it is served.
func trial(from *logbook.Trial) Trial {
	t := Trial{Number: from.Number, Name: from.Name(), Dir: from.Dir, Start: from.Begun(), Closed: from.Closed()}
	if p, ok := from.Pulse(); ok {
		t.End = p.Wall.UTC().Format("2006-01-02T15:04:05.000Z07:00")
	}
	t.fill()
	return t
}

// fill takes from the results what they say better.
func (t *Trial) fill() {
	head, err := readHead(t.path(resultsFile))
	if err != nil {
		return
	}
	t.HasResults = true
	t.Name = cmp.Or(t.Name, head.Name)
	t.Start, t.End = cmp.Or(head.Start, t.Start), cmp.Or(head.End, t.End)
}

// readHead reads what results say of the trial, which stands near the
// beginning.
func readHead(path string) (head results.Trial, err error) {
	f, err := os.Open(path)
	if err != nil {
		return head, err
	}
	defer f.Close()
	in := json.NewDecoder(f)
	_, err = in.Token()
	for err == nil && in.More() {
		key, _ := in.Token()
		if key == "trial" {
			err = in.Decode(&head)
			return head, err
		}
		var other json.RawMessage
		err = in.Decode(&other)
	}
	return head, cmp.Or(err, errors.New("results without a trial"))
}

func (s *server) list(w http.ResponseWriter, _ *http.Request) {
	list, err := s.Trials()
	if err != nil {
		s.failed(w, err)
		return
	}
	if list == nil {
		list = []Trial{}
	}
	reply(w, http.StatusOK, list)
}

// of finds the trial that a request is for.
func (s *server) of(answer func(http.ResponseWriter, *http.Request, Trial)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		n, err := strconv.Atoi(r.PathValue("n"))
		if err != nil {
			fail(w, http.StatusNotFound, "a trial has a number")
			return
		}
		list, err := s.Trials()
		if err != nil {
			s.failed(w, err)
			return
		}
		for _, t := range list {
			if t.Number == n {
				answer(w, r, t)
				return
			}
		}
		fail(w, http.StatusNotFound, fmt.Sprintf("there is no trial %d", n))
	}
}
