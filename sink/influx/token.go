package influx

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// TokenVariable is the environment variable that can hold the token, and
// Credential the name of the service manager's credential.
const (
	TokenVariable = "TRIALDAY_INFLUX_TOKEN"
	Credential    = "influx-token"
)

// secret is a text that no print shows.
type secret struct{ text string }

func (secret) String() string               { return "(secret)" }
func (secret) GoString() string             { return "(secret)" }
func (secret) MarshalText() ([]byte, error) { return []byte("(secret)"), nil }

// readToken finds the token: in the file that is configured, else in the
// service manager's credential, else in the environment. A server on its own
// machine may need none.
func readToken(file string) (secret, error) {
	if file != "" {
		return readSecret(file)
	}
	if dir := os.Getenv("CREDENTIALS_DIRECTORY"); dir != "" {
		s, err := readSecret(filepath.Join(dir, Credential))
		if err == nil || !errors.Is(err, os.ErrNotExist) {
			return s, err
		}
	}
	return secret{strings.TrimSpace(os.Getenv(TokenVariable))}, nil
}

func readSecret(file string) (secret, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return secret{}, fmt.Errorf("token: %w; check influx.token_file and its rights", err)
	}
	s := secret{strings.TrimSpace(string(text))}
	if s.text == "" || strings.ContainsAny(s.text, "\r\n") {
		return secret{}, fmt.Errorf("token: %s does not hold one line with the token", file)
	}
	return s, nil
}

// hide takes the secret out of a text that came from elsewhere.
func (s secret) hide(text string) string {
	if s.text == "" {
		return text
	}
	text = strings.ReplaceAll(text, s.text, "(secret)")
	// The second part of user:password is a secret by itself.
	if _, word, ok := strings.Cut(s.text, ":"); ok && len(word) > 3 {
		text = strings.ReplaceAll(text, word, "(secret)")
	}
	return text
}
