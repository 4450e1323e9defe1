package page

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"sync"
	"syscall"
	"time"
)

const resultsFile = "results.json"

// files are those of a trial that are served, with their types.
var files = map[string]string{
	resultsFile:       "application/json",
	"sheet.html":      "text/html; charset=utf-8",
	"sheet.pdf":       "application/pdf",
	"steps.csv":       "text/csv; charset=utf-8",
	"windows.csv":     "text/csv; charset=utf-8",
	"runs.csv":        "text/csv; charset=utf-8",
	"steps.parquet":   "application/vnd.apache.parquet",
	"windows.parquet": "application/vnd.apache.parquet",
	"runs.parquet":    "application/vnd.apache.parquet",
}

func (s *server) results(w http.ResponseWriter, r *http.Request, t Trial) {
	s.send(w, r, t, resultsFile)
}

func (s *server) file(w http.ResponseWriter, r *http.Request, t Trial) {
	s.send(w, r, t, r.PathValue("file"))
}

// send sends one of the files: as it is, or made of the results where it is not
// there.
func (s *server) send(w http.ResponseWriter, r *http.Request, t Trial, name string) {
	kind, ok := files[name]
	if !ok {
		fail(w, http.StatusNotFound, "a trial has no such file")
		return
	}
	if err := http.NewResponseController(w).SetWriteDeadline(time.Now().Add(makeIn)); err != nil {
		s.failed(w, err)
		return
	}
	text, info, err := s.open(r, t, name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		fail(w, http.StatusNotFound, fmt.Sprintf("trial %d has no %s yet", t.Number, name))
		return
	case err != nil:
		s.failed(w, err)
		return
	}
	defer text.Close()
	h := w.Header()
	h.Set("Content-Type", kind)
	h.Set("Content-Disposition", fmt.Sprintf("inline; filename=\"trial-%d-%s\"", t.Number, name))
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", tag(info))
	if name == "sheet.html" {
		h.Set("Content-Security-Policy", sheetPolicy)
	}
	http.ServeContent(w, r, "", info.ModTime(), text)
}

// makeIn is how long it may take to make a file and send it: a PDF takes a
// minute or two on a small computer.
const makeIn = 5 * time.Minute

// together is how long after results.json the files made with it are there. One
// that is older was made of other results.
const together = time.Minute

// open opens a file of a trial; what is not there, or was made of earlier
// results, is made. Info is that of the file, or of the results it was made of.
func (s *server) open(r *http.Request, t Trial, name string) (io.ReadSeekCloser, fs.FileInfo, error) {
	made, err := os.Stat(t.path(resultsFile))
	if err != nil {
		return nil, nil, err
	}
	if info, err := os.Stat(t.path(name)); err == nil && made.ModTime().Sub(info.ModTime()) <= together {
		f, err := os.Open(t.path(name))
		return f, info, err
	}
	text, err := s.make(r, t, name, tag(made))
	return inMemory{bytes.NewReader(text)}, made, err
}

// inMemory is content that is no file.
type inMemory struct{ *bytes.Reader }

func (inMemory) Close() error { return nil }

// lastMade is the file that was made last.
type lastMade struct {
	mu   sync.Mutex // held while one is made: it may be much work
	path string
	mark string
	text []byte
}

// make makes a file of the results whose tag is mark. Who only asks whether
// there is such a file has an empty answer.
func (s *server) make(r *http.Request, t Trial, name, mark string) ([]byte, error) {
	fill := s.Make[name]
	if fill == nil {
		return nil, fs.ErrNotExist
	}
	if r.Method == http.MethodHead {
		return nil, nil
	}
	m := &s.made
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.path != t.path(name) || m.mark != mark {
		var b bytes.Buffer
		if err := fill(r.Context(), &b, t.Dir); err != nil {
			return nil, err
		}
		m.path, m.mark, m.text = t.path(name), mark, b.Bytes()
	}
	return m.text, nil
}

// tag is a weak entity tag of a file that is only ever replaced whole.
func tag(info fs.FileInfo) string {
	inode := uint64(0)
	if st, ok := info.Sys().(*syscall.Stat_t); ok {
		inode = st.Ino
	}
	return fmt.Sprintf(`W/"%x-%x-%x"`, inode, info.Size(), info.ModTime().UnixNano())
}

// mark is the tag of the file at path; "" where there is none.
func mark(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		return ""
	}
	return tag(info)
}
