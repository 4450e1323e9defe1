package page

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"time"
)

// Amendment is what a person asks for: that windows do not count, or count as
// one, or that an earlier amendment be taken back.
type Amendment struct {
	Name      string `json:"name"` // of the person
	Reason    string `json:"reason"`
	Action    string `json:"action"` // exclude, merge, withdraw
	WindowIDs []int  `json:"window_ids"`
	Withdraws int    `json:"withdraws"` // id of the amendment that is taken back
}

// maxBody bounds what a client may send, in bytes.
const maxBody = 64 << 10

// deriveIn is how long results may take to be derived again: a moment, or the
// time to read all frames of a long day where nothing else was kept of it.
const deriveIn = 10 * time.Minute

// amend takes an amendment.
func (s *server) amend(w http.ResponseWriter, r *http.Request, t Trial) {
	if s.Amend == nil {
		fail(w, http.StatusNotFound, "amendments are not kept here")
		return
	}
	var a Amendment
	if !readBody(w, r, &a) {
		return
	}
	if err := http.NewResponseController(w).SetWriteDeadline(time.Now().Add(deriveIn)); err != nil {
		s.failed(w, err)
		return
	}
	kept, err := s.Amend(r.Context(), t, a)
	if err != nil {
		s.failed(w, err)
		return
	}
	reply(w, http.StatusCreated, kept)
}

// readBody reads what a request sends: one JSON object, with no key that is not
// known. False: it did not, and the client is told. Only a page of this server
// can send JSON to it from a browser; a form of another site cannot.
func readBody(w http.ResponseWriter, r *http.Request, into any) bool {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		fail(w, http.StatusUnsupportedMediaType, "this takes application/json")
		return false
	}
	in := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxBody))
	in.DisallowUnknownFields()
	err := in.Decode(into)
	if err == nil {
		if _, after := in.Token(); !errors.Is(after, io.EOF) {
			err = cmp.Or(after, errors.New("there is more after it"))
		}
	}
	if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
		fail(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("this takes at most %d bytes", tooLarge.Limit))
		return false
	}
	if err != nil {
		fail(w, http.StatusBadRequest, "not understood: "+err.Error())
		return false
	}
	return true
}
