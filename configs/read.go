package configs

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"reflect"
	"strconv"
	"strings"

	"github.com/go-viper/mapstructure/v2"
	"github.com/spf13/viper"
	"go.yaml.in/yaml/v3"
)

// maxFileBytes bounds a configuration file; the complete example has a few
// kilobytes.
const maxFileBytes = 1 << 20

// envPrefix begins the name of every environment variable that overrides a
// key: TRIALDAY_PAGE_LISTEN overrides page.listen.
const envPrefix = "TRIALDAY_"

// ReadFile reads the file at path and lays it over Default. An environment variable
// TRIALDAY_SECTION_KEY overrides the key section.key, lists excepted. An empty
// path means no file. All faults are reported together, as Faults.
func ReadFile(path string) (Config, error) {
	if path == "" {
		return parse(nil, "configuration", os.LookupEnv)
	}
	f, err := os.Open(path)
	if err != nil {
		return Config{}, fmt.Errorf("configuration: %w", err)
	}
	defer f.Close()
	text, err := readAll(f, path)
	if err != nil {
		return Config{}, err
	}
	return parse(text, path, os.LookupEnv)
}

// Parse is ReadFile from a reader, without the environment. Name stands for the
// file in messages.
func Parse(r io.Reader, name string) (Config, error) {
	text, err := readAll(r, name)
	if err != nil {
		return Config{}, err
	}
	return parse(text, name, nil)
}

func readAll(r io.Reader, name string) ([]byte, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxFileBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(text) > maxFileBytes {
		return nil, fmt.Errorf("%s: larger than %d bytes: not a configuration file", name, maxFileBytes)
	}
	return text, nil
}

// parse works in four steps that each add to one list of faults: the YAML
// itself, its keys, the types of its values, the values.
func parse(text []byte, name string, env func(string) (string, bool)) (Config, error) {
	v := viper.New()
	v.SetConfigType("yaml")
	if err := readYAML(v, text); err != nil {
		return Config{}, Faults{{File: name, Reason: oneLine(err), Allowed: "YAML, as in the example"}}
	}
	p := places{file: name, lines: map[string]int{}, variables: map[string]string{}}
	var doc yaml.Node
	if yaml.Unmarshal(text, &doc) == nil && len(doc.Content) == 1 {
		p.walk("", doc.Content[0], reflect.TypeFor[Config]())
	}
	if env != nil {
		p.override(v, env)
	}
	c := Default()
	p.addTypes(decode(v, &c))
	c.complete(v.IsSet)
	p.check(&c)
	if len(p.faults) > 0 {
		return Config{}, p.sorted()
	}
	return c, nil
}

// readYAML guards against a panic of the YAML reader, which hostile input has
// been able to cause.
func readYAML(v *viper.Viper, text []byte) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("not readable as YAML: %v", r)
		}
	}()
	return v.ReadConfig(bytes.NewReader(text))
}

// decode fills c from v without any of the conversions between types that
// viper does by default: "12" is no number and 2.5 is no count.
func decode(v *viper.Viper, c *Config) error {
	return v.Unmarshal(c, func(dc *mapstructure.DecoderConfig) {
		dc.WeaklyTypedInput = false
		dc.DecodeHook = wholeNumbers
	})
}

func wholeNumbers(from, to reflect.Value) (any, error) {
	if from.Kind() == reflect.Float64 && to.Kind() == reflect.Int {
		if f := from.Float(); f != float64(int(f)) {
			return nil, &mapstructure.UnconvertibleTypeError{Expected: to, Value: f}
		}
	}
	return from.Interface(), nil
}

// override puts the environment's values over the file's. They are read as
// YAML scalars, so that they pass the same checks.
func (p *places) override(v *viper.Viper, env func(string) (string, bool)) {
	for _, key := range scalarKeys() {
		variable := envPrefix + strings.ToUpper(strings.ReplaceAll(key.path, ".", "_"))
		text, ok := env(variable)
		if !ok {
			continue
		}
		p.variables[key.path] = variable
		var value any = text
		if key.kind != reflect.String {
			if err := yaml.Unmarshal([]byte(text), &value); err != nil {
				value = text
			}
		}
		v.Set(key.path, value)
	}
}

type scalarKey struct {
	path string
	kind reflect.Kind
}

// scalarKeys lists section.key for every key that holds one value.
func scalarKeys() []scalarKey {
	var keys []scalarKey
	for section := range reflect.TypeFor[Config]().Fields() {
		if section.Type.Kind() != reflect.Struct {
			continue
		}
		for f := range section.Type.Fields() {
			if kind := indirect(f.Type).Kind(); kind != reflect.Slice {
				keys = append(keys, scalarKey{tag(section) + "." + tag(f), kind})
			}
		}
	}
	return keys
}

func indirect(t reflect.Type) reflect.Type {
	if t.Kind() == reflect.Pointer {
		return t.Elem()
	}
	return t
}

func tag(f reflect.StructField) string { return f.Tag.Get("mapstructure") }

// addTypes turns the decoder's errors, however nested, into faults.
func (p *places) addTypes(err error) {
	if err == nil {
		return
	}
	var at *mapstructure.DecodeError
	if de, ok := err.(*mapstructure.DecodeError); ok {
		at = de
		if inner, ok := errors.AsType[*mapstructure.DecodeError](de.Unwrap()); ok && inner != nil {
			p.addTypes(de.Unwrap())
			return
		}
		p.add(at.Name(), typeValue(at), "wrong type", typeAllowed(at))
		return
	}
	switch e := err.(type) {
	case interface{ Unwrap() []error }:
		for _, err := range e.Unwrap() {
			p.addTypes(err)
		}
	case interface{ Unwrap() error }:
		p.addTypes(e.Unwrap())
	default:
		p.add("", nil, oneLine(err), "the types of the example")
	}
}

func typeValue(de *mapstructure.DecodeError) any {
	if e, ok := errors.AsType[*mapstructure.UnconvertibleTypeError](de); ok {
		return e.Value
	}
	if e, ok := errors.AsType[*mapstructure.ParseError](de); ok {
		return e.Value
	}
	return nil
}

// typeAllowed says in words what type the key wants; it goes by the key's path,
// since the decoder does not always know.
func typeAllowed(de *mapstructure.DecodeError) string {
	t := reflect.TypeFor[Config]()
	for part := range strings.SplitSeq(de.Name(), ".") {
		name, _, indexed := strings.Cut(part, "[")
		for f := range t.Fields() {
			if tag(f) == name {
				t = indirect(f.Type)
				if indexed {
					t = t.Elem()
				}
				break
			}
		}
	}
	switch t.Kind() {
	case reflect.Struct:
		return "a section of keys"
	case reflect.Slice:
		return "a list"
	case reflect.Int:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	case reflect.Bool:
		return "true or false"
	}
	return "text (put it in quotes)"
}

// oneLine flattens an error text.
func oneLine(err error) string { return strings.Join(strings.Fields(err.Error()), " ") }

// show renders a refused value, shortened.
func show(value any) string {
	var s string
	switch v := value.(type) {
	case string:
		s = strconv.Quote(v)
	case fmt.Stringer, error:
		s = fmt.Sprint(v)
	case map[string]any, []any:
		s = oneLine(fmt.Errorf("%v", v))
	default:
		s = fmt.Sprint(v)
	}
	if r := []rune(s); len(r) > 60 {
		s = string(r[:57]) + "..."
	}
	return s
}
