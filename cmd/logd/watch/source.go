package watch

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"trialday.example/logd/sink/results"
)

const (
	answerIn  = 5 * time.Second
	silence   = 25 * time.Second // a service that is well says something every 15 s
	firstWait = 500 * time.Millisecond
	longWait  = 5 * time.Second
	maxState  = 1 << 20 // bytes of one state; a day has some 10,000
)

// source asks a service.
type source struct {
	base   *url.URL
	token  string
	client *http.Client
}

func newSource(o Options) (*source, error) {
	base, err := url.Parse(o.URL)
	if err != nil || base.Scheme != "http" && base.Scheme != "https" || base.Host == "" {
		return nil, fmt.Errorf("%q is no address of a service: it is like http://127.0.0.1:8642", o.URL)
	}
	t := &http.Transport{DialContext: (&net.Dialer{Timeout: answerIn}).DialContext, ResponseHeaderTimeout: answerIn}
	return &source{base, o.Token, &http.Client{Transport: t}}, nil
}

// open asks for a path.
func (s *source) open(ctx context.Context, path string) (io.ReadCloser, error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.base.JoinPath(path).String(), nil)
	if err != nil {
		return nil, err
	}
	if s.token != "" {
		r.Header.Set("Authorization", "Bearer "+s.token)
	}
	resp, err := s.client.Do(r)
	if err != nil {
		return nil, fmt.Errorf("no service answers at %s; is it running? (%w)", s.base.Host, errors.Unwrap(err))
	}
	if resp.StatusCode == http.StatusOK {
		return resp.Body, nil
	}
	defer resp.Body.Close()
	return nil, refusal(resp)
}

// refusal says in words why a service does not answer.
func refusal(resp *http.Response) error {
	if resp.StatusCode == http.StatusUnauthorized {
		return errors.New("the service wants its token: give the file that holds it with --token-file")
	}
	var told struct {
		Error string `json:"error"`
	}
	_ = json.NewDecoder(io.LimitReader(resp.Body, 1<<16)).Decode(&told)
	if told.Error == "" {
		told.Error = "this is no service of this program, or another version"
	}
	return fmt.Errorf("%s (%s)", told.Error, resp.Status)
}

// once is the present state.
func (s *source) once(ctx context.Context) (*results.Live, error) {
	body, err := s.open(ctx, "/api/live")
	if err != nil {
		return nil, err
	}
	defer body.Close()
	state := new(results.Live)
	if err := json.NewDecoder(io.LimitReader(body, maxState)).Decode(state); err != nil {
		return nil, fmt.Errorf("the state is not understood: %w", err)
	}
	return state, nil
}

// Follow tells of each state, and by an error why there is none, until ctx ends.
// It comes back after whatever ended the stream. Its own error is one of o.
func Follow(ctx context.Context, o Options, tell func(state *results.Live, lost error)) error {
	s, err := newSource(o)
	if err != nil {
		return err
	}
	for wait := firstWait; ctx.Err() == nil; wait = min(2*wait, longWait) {
		err := s.stream(ctx, func(state *results.Live) {
			wait = firstWait
			tell(state, nil)
		})
		if ctx.Err() != nil {
			return nil
		}
		tell(nil, err)
		select {
		case <-ctx.Done():
		case <-time.After(wait):
		}
	}
	return nil
}

// stream reads the live stream until it ends or says nothing for too long.
func (s *source) stream(ctx context.Context, tell func(*results.Live)) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	body, err := s.open(ctx, "/api/live/stream")
	if err != nil {
		return err
	}
	defer body.Close()
	dead := time.AfterFunc(silence, stop)
	defer dead.Stop()
	err = readEvents(body, func(event, data string) error {
		dead.Reset(silence)
		if event != "live" {
			return nil
		}
		state := new(results.Live)
		if err := json.Unmarshal([]byte(data), state); err != nil {
			return fmt.Errorf("the state is not understood: %w", err)
		}
		tell(state)
		return nil
	})
	if err == nil || ctx.Err() != nil {
		err = errors.New("the service ended the connection, or went silent")
	}
	return err
}

// readEvents reads server-sent events (WHATWG HTML, section 9.2.6) until their
// end; a comment is an event without a name. Fields that the service does not
// send are passed over.
func readEvents(in io.Reader, take func(event, data string) error) error {
	lines := bufio.NewScanner(in)
	lines.Buffer(make([]byte, 0, 1<<16), maxState)
	event, data := "", ""
	for lines.Scan() {
		field, value, _ := strings.Cut(lines.Text(), ":")
		value = strings.TrimPrefix(value, " ")
		switch {
		case lines.Text() == "":
			if err := take(event, data); err != nil {
				return err
			}
			event, data = "", ""
		case field == "event":
			event = value
		case field == "data" && data != "":
			data += "\n" + value
		case field == "data":
			data = value
		}
		if len(data) > maxState {
			return errors.New("an event without an end")
		}
	}
	return lines.Err()
}
