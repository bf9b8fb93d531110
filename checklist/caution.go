package checklist

import (
	"errors"
	"slices"
	"strings"
)

// A Caution is what to mind, and what from: a step's data.
type Caution struct {
	Text     string `toml:"text"`
	Protects string `toml:"protects"` // from what, as the end of a sentence; "" in procedures of older versions
}

// String is the caution as the person and the report have it.
func (c Caution) String() string {
	if c.Protects == "" {
		return c.Text
	}
	return c.Text + " Protects from: " + strings.TrimSuffix(c.Protects, ".") + "."
}

// UnmarshalTOML reads a table with text and protects, or, as older procedures
// have it, a text alone.
func (c *Caution) UnmarshalTOML(data any) error {
	switch v := data.(type) {
	case string:
		c.Text = v
		return nil
	case map[string]any:
		for key := range v {
			if key != "text" && key != "protects" {
				return errors.New("caution: field " + key + ": not known, there are text and protects")
			}
		}
		c.Text, _ = v["text"].(string)
		c.Protects, _ = v["protects"].(string)
		if c.Text != "" && c.Protects != "" {
			return nil
		}
	}
	return errors.New("caution: want text and protects")
}

// CautionTexts are the cautions as texts.
func CautionTexts(cautions []Caution) []string {
	var texts []string
	for _, c := range cautions {
		texts = append(texts, c.String())
	}
	return texts
}

// untold leaves out the cautions that this sitting has shown already.
func (s *Scene) untold(cautions []string) []string {
	if len(cautions) == 0 {
		return nil
	}
	told := map[string]bool{}
	for _, e := range s.Log.Entries(0) {
		if e.Sitting != s.Step.Sitting {
			continue
		}
		switch {
		case e.Instruct != nil:
			for _, c := range e.Instruct.Cautions {
				told[c] = true
			}
		case e.Answer != nil:
			for _, c := range e.Answer.Question.Cautions {
				told[c] = true
			}
		}
	}
	return slices.DeleteFunc(slices.Clone(cautions), func(c string) bool { return told[c] })
}
