package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/gowebpki/jcs"
)

// Canonical returns the report as canonical JSON (RFC 8785), the bytes that are
// signed. A figure that is no number (NaN, infinity) is an error.
func Canonical(m Model) ([]byte, error) { return canonical(m) }

func canonical(v any) ([]byte, error) {
	// encoding/json escapes more than RFC 8785 wants; the transformation undoes
	// that, so only the values matter here.
	plain, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("report: encode: %w", err)
	}
	out, err := jcs.Transform(plain)
	if err != nil {
		return nil, fmt.Errorf("report: canonical form: %w", err)
	}
	return out, nil
}

// Parse reads report.json. It accepts any JSON of the right shape; whether the
// form is canonical and the schema holds is for Validate and Verify to say.
func Parse(b []byte) (Model, error) {
	dec := json.NewDecoder(bytes.NewReader(b))
	dec.DisallowUnknownFields()
	var m Model
	if err := dec.Decode(&m); err != nil {
		return Model{}, fmt.Errorf("report: decode: %w", err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return Model{}, errors.New("report: decode: more after the end")
	}
	if m.Format != Format {
		return Model{}, fmt.Errorf("report: format %q: not %q", m.Format, Format)
	}
	return m, nil
}
