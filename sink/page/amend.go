package page

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
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

// amend takes an amendment. Only a page of this server can send JSON to it: a
// form of another site cannot.
func (s *server) amend(w http.ResponseWriter, r *http.Request, t Trial) {
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/json" {
		fail(w, http.StatusUnsupportedMediaType, "an amendment is sent as application/json")
		return
	}
	if s.Amend == nil {
		fail(w, http.StatusNotFound, "amendments are not kept here")
		return
	}
	a, err := readAmendment(http.MaxBytesReader(w, r.Body, maxBody))
	if tooLarge, ok := errors.AsType[*http.MaxBytesError](err); ok {
		fail(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("an amendment has at most %d bytes", tooLarge.Limit))
		return
	}
	if err != nil {
		fail(w, http.StatusBadRequest, "this is no amendment: "+err.Error())
		return
	}
	kept, err := s.Amend(r.Context(), t, a)
	if err != nil {
		s.failed(w, err)
		return
	}
	reply(w, http.StatusCreated, kept)
}

// readAmendment reads one JSON object and nothing after it.
func readAmendment(body io.Reader) (a Amendment, err error) {
	in := json.NewDecoder(body)
	in.DisallowUnknownFields()
	if err := in.Decode(&a); err != nil {
		return a, err
	}
	if _, err := in.Token(); !errors.Is(err, io.EOF) {
		if err == nil {
			err = errors.New("there is more after it")
		}
		return a, err
	}
	return a, nil
}
