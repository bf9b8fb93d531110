package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist"
)

var lainAt = time.Date(2026, 3, 2, 17, 40, 0, 0, time.UTC)

// The names are those of the architecture's table "Evidence expires by what changed
// since", and what the procedure adds to them.
func TestWhatChangedIsAskedUntilItIsAnswered(t *testing.T) {
	for name, tt := range map[string]struct {
		typed   []string
		want    []string
		shown   string // besides the question
		refused error
	}{
		"nothing":             {typed: []string{"nothing"}},
		"a list":              {typed: []string{"Soldering, cover"}, want: []string{"soldering", "cover"}},
		"no such thing":       {typed: []string{"colour", "cover"}, want: []string{"cover"}, shown: `"colour" is none of`},
		"nothing and more":    {typed: []string{"nothing cover", "cover"}, want: []string{"cover"}, shown: `"nothing" is none of`},
		"a remark in between": {typed: []string{"note the lid is loose", "cover"}, want: []string{"cover"}, shown: "first say what changed"},
		"abort":               {typed: []string{"abort group at the door"}, refused: checklist.ErrAborted},
		"the end":             {refused: checklist.ErrPersonGone},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				in, typed := io.Pipe()
				var shown bytes.Buffer
				p := newTerminalPerson(&shown, false, silence{}, "Ada")
				ctx, stop := context.WithCancel(t.Context())
				go p.read(ctx, in)
				go func() {
					for _, line := range tt.typed {
						synctest.Wait() // the question is open
						io.WriteString(typed, line+"\n")
					}
					synctest.Wait()
					typed.Close()
				}()
				changed, a, err := whatChanged(ctx, p, p.commands, lainAt)
				stop()
				if !errors.Is(err, tt.refused) {
					t.Fatalf("whatChanged = %v; want %v", err, tt.refused)
				}
				if err != nil {
					return
				}
				if diff := cmp.Diff(tt.want, changed); diff != "" {
					t.Errorf("changed (-want +got):\n%s", diff)
				}
				if a.By != "Ada" || a.Question.Key != "changed" {
					t.Errorf("answer %+v; want the question, and Ada", a)
				}
				for _, words := range []string{"What changed since 2 Mar 2026, 17:40 UTC?", tt.shown} {
					if !strings.Contains(shown.String(), words) {
						t.Errorf("shown lacks %q:\n%s", words, &shown)
					}
				}
			})
		})
	}
}

func TestARunThatLayForANightIsAskedAbout(t *testing.T) {
	f := &runFolder{}
	if _, ok := f.lainSince(lainAt); ok {
		t.Error("a run that has not begun: asked what changed")
	}
	f.entries = []checklist.Entry{{N: 1, At: lainAt}}
	for after, want := range map[time.Duration]bool{time.Hour: false, 14 * time.Hour: true} {
		if since, ok := f.lainSince(lainAt.Add(after)); ok != want || !since.Equal(lainAt) {
			t.Errorf("after %v: asked %t since %v; want %t", after, ok, since, want)
		}
	}
}
