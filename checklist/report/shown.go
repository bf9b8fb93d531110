package report

import (
	"encoding/json"
	"fmt"
)

// shown returns the report as it may be seen by others: all text harmless and
// without tag identifiers. Times, digests and keys stay as they are.
func shown(m Model) (Model, error) {
	raw, err := json.Marshal(m)
	if err != nil {
		return Model{}, fmt.Errorf("report: encode: %w", err)
	}
	var tree any
	if err := json.Unmarshal(raw, &tree); err != nil {
		return Model{}, fmt.Errorf("report: decode: %w", err)
	}
	if raw, err = json.Marshal(walk(tree, newMasker(m.Tags))); err != nil {
		return Model{}, fmt.Errorf("report: encode: %w", err)
	}
	var out Model
	if err := json.Unmarshal(raw, &out); err != nil {
		return Model{}, fmt.Errorf("report: decode: %w", err)
	}
	return out, nil
}

// verbatim reports whether a field is no text that a board or a person wrote, so
// that nothing needs hiding and nothing may change.
func verbatim(key string) bool {
	switch key {
	case "at", "begun", "ended", "issued", "digest", "replaces", "fingerprint", "key", "format", "number", "from", "to", "where", "bytes", "read", "entry":
		return true
	}
	return false
}

func walk(v any, m *masker) any {
	switch v := v.(type) {
	case string:
		return m.mask(harmless(v))
	case []any:
		for i := range v {
			v[i] = walk(v[i], m)
		}
	case map[string]any:
		for key := range v {
			if !verbatim(key) {
				v[key] = walk(v[key], m)
			}
		}
	}
	return v
}
