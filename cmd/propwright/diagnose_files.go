package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"propwright/checklist/diagnose"
)

// mostKept bounds the text that is kept for a bundle: the beginning of it.
const mostKept = 4 << 20

// keptText keeps the beginning of a text.
type keptText struct{ b bytes.Buffer }

func (k *keptText) Write(p []byte) (int, error) {
	if room := mostKept - k.b.Len(); room > 0 {
		k.b.Write(p[:min(room, len(p))])
	}
	return len(p), nil
}

func (k *keptText) String() string { return k.b.String() }

// files writes the page and the bundle.
func (c *diagnosis) files(d deps, r *diagnose.Result) error {
	if c.o.page != "" {
		if err := c.writePage(d, r, c.o.page); err != nil {
			return toolError{what: fmt.Sprintf("page %q", c.o.page), err: withoutPath(err), try: "--page with a file that can be written"}
		}
		fmt.Fprintf(d.err, "page: %s\n", c.o.page)
	}
	if c.o.bundle == "" {
		return nil
	}
	if err := c.writeBundle(d, r); err != nil {
		return toolError{what: fmt.Sprintf("bundle %q", c.o.bundle), err: withoutPath(err), try: "--bundle with a folder that is not there yet and can be made"}
	}
	fmt.Fprintf(d.err, "bundle: %s\n", c.o.bundle)
	return nil
}

func (c *diagnosis) writePage(d deps, r *diagnose.Result, name string) (err error) {
	var b bytes.Buffer
	p := diagnose.Page{Prop: c.o.prop, Source: c.source, At: d.now(), Story: c.story, Result: r}
	if err := p.Write(&b); err != nil {
		return err
	}
	return os.WriteFile(name, b.Bytes(), 0o600)
}

// writeBundle makes a folder for somebody else: the result, the page, the answers and
// the console, with the tags' identities shortened in all of them.
func (c *diagnosis) writeBundle(d deps, r *diagnose.Result) error {
	if err := os.Mkdir(c.o.bundle, 0o700); err != nil {
		if errors.Is(err, fs.ErrExist) {
			return errors.New("it is there already")
		}
		return err
	}
	short := *r
	short.Seen = nil
	for _, s := range r.Seen {
		s.Text = diagnose.Shorten(s.Text)
		short.Seen = append(short.Seen, s)
	}
	short.Heard = nil
	var told strings.Builder
	for _, h := range r.Heard {
		h.Told = diagnose.Shorten(h.Told)
		short.Heard = append(short.Heard, h)
		fmt.Fprintf(&told, "%s\n", h.Told)
	}
	for i, n := range short.Notes {
		short.Notes[i] = diagnose.Shorten(n)
	}
	text, err := json.MarshalIndent(&short, "", "  ")
	if err != nil {
		return err
	}
	files := map[string][]byte{"diagnosis.json": append(text, '\n'), "answers.txt": []byte(told.String())}
	if c.text != "" {
		files["console.txt"] = []byte(diagnose.Shorten(c.text))
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(c.o.bundle, name), text, 0o600); err != nil {
			return err
		}
	}
	return c.writePage(d, &short, filepath.Join(c.o.bundle, "diagnosis.html"))
}
