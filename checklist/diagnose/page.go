package diagnose

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"
	"time"
)

//go:embed page.html.tmpl
var pageText string

var pageTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("page").Funcs(template.FuncMap{
		"percent": func(p float64) string { return fmt.Sprintf("%.0f %%", 100*p) },
		"bar":     func(p float64) int { return int(100*p + 0.5) },
		"join":    func(list []string) string { return strings.Join(list, ", ") },
	}).Parse(pageText))
})

// A Page is a result with what belongs around it.
type Page struct {
	Prop, Source string
	At           time.Time // zero for not known
	Story        []string  // what was done, in order
	*Result
}

// Write writes the page as HTML that stands for itself and prints as it is. Everything
// that came from a board or a person is escaped; tags' identities are shortened.
func (p Page) Write(w io.Writer) error {
	shown := *p.Result
	shown.Seen = nil
	for _, s := range p.Seen {
		s.Text = Shorten(s.Text)
		shown.Seen = append(shown.Seen, s)
	}
	p.Result = &shown
	return pageTemplate().Execute(w, p)
}
