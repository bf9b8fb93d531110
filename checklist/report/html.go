package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"strings"
	"sync"
)

//go:embed page.html.tmpl
var pageText string

//go:embed page.css
var pageStyle string

// pageTemplate is parsed once; a parsed template is safe for concurrent use.
var pageTemplate = sync.OnceValues(func() (*template.Template, error) {
	// The style sheet is ours and goes in before parsing, so that the template
	// engine sees it as part of the page.
	text := strings.Replace(pageText, "/* page.css */", pageStyle, 1)
	return template.New(FileHTML).Funcs(template.FuncMap{
		"time": dayAndTime, "clock": clockTime, "span": span, "figure": figure, "interval": interval,
		"seconds": seconds, "upper": strings.ToUpper, "number": number, "curve": drawCurve, "timeline": drawTimeLine,
	}).Parse(text)
})

// RenderHTML makes the page of a report from the bytes of report.json and
// nothing else; the same bytes always make the same page. It is one file for
// screen and A4 paper, without scripts and without anything to be fetched. Text
// from boards is escaped, and tags are shown by fingerprint only.
func RenderHTML(reportJSON []byte) ([]byte, error) {
	m, err := Parse(reportJSON)
	if err != nil {
		return nil, err
	}
	return render(m, Digest(reportJSON))
}

// render makes the page of a report whose JSON has that digest.
func render(m Model, reportDigest string) ([]byte, error) {
	v, err := newPage(m, reportDigest)
	if err != nil {
		return nil, err
	}
	t, err := pageTemplate()
	if err != nil {
		return nil, fmt.Errorf("report page: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, v); err != nil {
		return nil, fmt.Errorf("report page: %w", err)
	}
	return b.Bytes(), nil
}
