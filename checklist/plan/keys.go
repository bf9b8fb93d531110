package plan

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"propwright/parsers"
)

// A Key is one setting of a kind of thing, as the command line names it.
type Key struct {
	Name string
	Form string // what a value looks like
	Must bool   // it may not be left out
}

// A key is a Key with what sets it.
type key[T any] struct {
	Key
	set func(*T, string) error
}

// Keys returns the settings of a kind of thing, in their order.
func Keys(kind Kind) []Key {
	switch kind {
	case KindController:
		return bare(controllerKeys())
	case KindBoard:
		return bare(boardKeys())
	case KindReader:
		return bare(readerKeys())
	case KindProp:
		return bare(propKeys())
	case KindTag:
		return bare(tagKeys())
	}
	return nil
}

func bare[T any](keys []key[T]) []Key {
	list := make([]Key, len(keys))
	for i, k := range keys {
		list[i] = k.Key
	}
	return list
}

// Add adds a thing from words as on the command line: its kind, its name, and
// settings of the form key=value. A reader is called by its board, with the index
// behind a slash where that is not 0.
func (p *Plan) Add(kind Kind, name string, settings ...string) error {
	var err error
	switch kind {
	case KindController:
		c := Controller{Name: name, Network: DefaultNetwork, Port: 502, Unit: 1}
		if err = fill(&c, controllerKeys(), settings); err == nil {
			return p.AddController(c)
		}
	case KindBoard:
		b := Board{Name: name, Network: DefaultNetwork, Speed: 115200, SupplyV: 5}
		if err = fill(&b, boardKeys(), settings); err == nil {
			return p.AddBoard(b)
		}
	case KindReader:
		r := Reader{Behaviour: "follows"}
		if r.Board, r.Index, err = parseReaderName(name); err != nil {
			break
		}
		if err = fill(&r, readerKeys(), settings); err == nil {
			return p.AddReader(r)
		}
	case KindProp:
		q := Prop{Name: name}
		if err = fill(&q, propKeys(), settings); err == nil {
			return p.AddProp(q)
		}
	case KindTag:
		t := Tag{Name: name, State: StateInUse}
		if err = fill(&t, tagKeys(), settings); err == nil {
			return p.AddTag(t)
		}
	default:
		return fmt.Errorf("kind %q: not known, there are: %s", kind, joined(Kinds()))
	}
	return fmt.Errorf("%s %q: %w", kind, name, err)
}

func joined(kinds []Kind) string {
	var names []string
	for _, k := range kinds {
		names = append(names, string(k))
	}
	return strings.Join(names, ", ")
}

// fill sets what the words say; each key once, none unknown, none missing.
func fill[T any](t *T, keys []key[T], settings []string) error {
	given := map[string]bool{}
	for _, word := range settings {
		name, value, ok := strings.Cut(word, "=")
		if !ok {
			return fmt.Errorf("setting %q: must have the form key=value", word)
		}
		k, known := find(keys, func(k key[T]) bool { return k.Name == name })
		switch {
		case !known:
			return unknownKey(name, bare(keys))
		case given[name]:
			return &FieldError{Field: name, Err: errors.New("given twice")}
		case value == "":
			return &FieldError{Field: name, Err: errors.New("no value; leave the key out where nothing is planned")}
		}
		given[name] = true
		if err := k.set(t, value); err != nil {
			return err
		}
	}
	for _, k := range keys {
		if k.Must && !given[k.Name] {
			return fmt.Errorf("%s: missing, give %s=%s", k.Name, k.Name, k.Form)
		}
	}
	return nil
}

func unknownKey(name string, keys []Key) error {
	var names []string
	for _, k := range keys {
		names = append(names, k.Name)
	}
	if near := Nearest(name, names); near != "" {
		return fmt.Errorf("key %q: not known, did you mean %s? There are: %s", name, near, strings.Join(names, ", "))
	}
	return fmt.Errorf("key %q: not known, there are: %s", name, strings.Join(names, ", "))
}

// text is a key that is stored as it is given.
func text[T any](name, form string, must bool, at func(*T) *string) key[T] {
	return key[T]{Key{name, form, must}, func(t *T, value string) error {
		*at(t) = value
		return nil
	}}
}

// word is a key of fixed words.
func word[T any](name string, must bool, at func(*T) *string) key[T] {
	return text(name, strings.Join(words(name), "|"), must, at)
}

// parsed is a key whose value is read by a function.
func parsed[T, V any](name, form string, must bool, read func(string) (V, error), at func(*T) *V) key[T] {
	return key[T]{Key{name, form, must}, func(t *T, value string) error {
		v, err := read(value)
		if err != nil {
			return &FieldError{name, value, err}
		}
		*at(t) = v
		return nil
	}}
}

func readInt(value string) (int, error) {
	n, err := strconv.Atoi(value)
	if err != nil {
		return 0, errors.New("not a whole number")
	}
	return n, nil
}

func readFloat(value string) (float64, error) {
	f, err := strconv.ParseFloat(value, 64)
	if err != nil {
		return 0, errors.New("not a number")
	}
	return f, nil
}

func readTime(value string) (time.Duration, error) {
	d, err := time.ParseDuration(value)
	if err != nil {
		return 0, errors.New("not a time, as in 90s or 2m")
	}
	return d, nil
}

func readList(value string) ([]string, error) { return strings.Split(value, ","), nil }

// setUID keeps the UID out of the message, because it is a key.
func setUID(t *Tag, value string) error {
	u, err := parsers.ParseUID(value)
	if err != nil {
		return &FieldError{Field: "uid", Err: errors.New("no UID of 4, 7 or 10 bytes")}
	}
	t.UID = u
	return nil
}
