package main

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/synctest"

	"propwright/checklist"
)

func newProcedure(t *testing.T) checklist.Procedure {
	t.Helper()
	p, err := checklist.BuiltinProcedure("new")
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func TestAnswersFileIsRefusedWithItsPlace(t *testing.T) {
	for name, tt := range map[string]struct{ text, want string }{
		"unknown step":  {"[wirring]\nanswer = \"yes\"\n", `step "wirring"`},
		"unknown key":   {"[wiring]\nanser = \"yes\"\n", "wiring.anser"},
		"no TOML":       {"[wiring\n", "a.toml:"},
		"text as value": {"[wiring]\nvalue = \"five\"\n", "a.toml:2: field wiring.value"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := readAnswers("a.toml", strings.NewReader(tt.text), newProcedure(t))
			if err == nil || !strings.Contains(err.Error(), tt.want) || !strings.Contains(err.Error(), "a.toml") {
				t.Errorf("readAnswers = %v; want an error that names a.toml and %q", err, tt.want)
			}
		})
	}
}

// One table answers both the question and the measurement of a step.
func TestAnswersFileAnswersAndNamesWhatItLacks(t *testing.T) {
	answers, err := readAnswers("a.toml", strings.NewReader("[wiring]\nanswer = \"yes\"\nvalue = 5.02\nunit = \"V\"\n[range]\nskip = \"no spacers\"\n"), newProcedure(t))
	if err != nil {
		t.Fatal(err)
	}
	p := answersFile{name: "a.toml", answers: answers}
	a, err := p.Ask(t.Context(), checklist.Question{Step: "wiring", Kind: checklist.AskConfirm})
	if err != nil || a.Text != "yes" {
		t.Errorf("confirm = %q, %v; want yes", a.Text, err)
	}
	a, err = p.Ask(t.Context(), checklist.Question{Step: "wiring", Kind: checklist.AskFigure, Unit: "V"})
	if err != nil || a.Value == nil || *a.Value != 5.02 || a.Unit != "V" {
		t.Errorf("figure = %+v, %v; want 5.02 V", a, err)
	}
	_, err = p.Ask(t.Context(), checklist.Question{Step: "lights", Kind: checklist.AskLamps})
	if !errors.Is(err, checklist.ErrNoAnswer) || !strings.Contains(err.Error(), `step "lights"`) {
		t.Errorf("a question without answer gives %v; want ErrNoAnswer that names the step", err)
	}
	if got := p.skips()["range"]; got != "no spacers" {
		t.Errorf("skips range = %q, want its reason", got)
	}
}

// What may move a door is answered under its own name only, never by an answer
// that was meant for something else.
func TestAnswersFileMustSayOutrightWhatIsRefusedOtherwise(t *testing.T) {
	answers, err := readAnswers("a.toml", strings.NewReader("[range]\nanswer = \"yes\"\n[link]\nroom-clear = \"yes\"\n[sign-off]\nanswer = \"yes\"\nexit-release = \"no\"\n"), newProcedure(t))
	if err != nil {
		t.Fatal(err)
	}
	p := answersFile{name: "a.toml", answers: answers}
	for _, tt := range []struct{ step, key, want string }{{"range", "room-clear", ""}, {"link", "room-clear", "yes"}, {"sign-off", "exit-release", "no"}} {
		a, err := p.Ask(t.Context(), checklist.Question{Step: tt.step, Key: tt.key, Kind: checklist.AskConfirm, Refuse: true})
		if a.Text != tt.want || (tt.want == "") != errors.Is(err, checklist.ErrNoAnswer) {
			t.Errorf("step %q, %q = %q, %v; want %q", tt.step, tt.key, a.Text, err, tt.want)
		}
	}
}

func TestTerminalTakesEnterAloneAsNoWhereThatIsTheDefault(t *testing.T) {
	p := newTerminalPerson(io.Discard, false, silence{}, "Ada")
	for refuse, want := range map[bool]string{true: "no", false: ""} {
		a, err := p.answer(checklist.Question{Kind: checklist.AskConfirm, Refuse: refuse}, "")
		if a.Text != want || (err == nil) != refuse {
			t.Errorf("Enter alone, refuse %t = %q, %v; want %q", refuse, a.Text, err, want)
		}
	}
}

func TestTerminalAsksAgainUntilTheAnswerFits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		in, typed := io.Pipe()
		var shown bytes.Buffer
		p := newTerminalPerson(&shown, false, silence{}, "Ada")
		ctx, stop := context.WithCancel(t.Context())
		go p.read(ctx, in)
		go func() {
			for _, line := range []string{"perhaps", "YES"} {
				synctest.Wait() // the question is open
				io.WriteString(typed, line+"\n")
			}
		}()
		a, err := p.Ask(ctx, checklist.Question{Kind: checklist.AskConfirm, Text: "Soldered?"})
		if err != nil || a.Text != "yes" || a.By != "Ada" {
			t.Errorf("Ask = %+v, %v; want yes by Ada", a, err)
		}
		if n := strings.Count(shown.String(), "Soldered?"); n != 2 {
			t.Errorf("the question was shown %d times, want 2:\n%s", n, shown.String())
		}
		stop()
		typed.Close()
	})
}

func TestTerminalTakesCommandsWhileNoQuestionIsOpen(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newTerminalPerson(io.Discard, false, silence{}, "Ada")
		go p.read(t.Context(), strings.NewReader("note the lid is loose\nskip no spacers\nskip\nagain\n"))
		want := []checklist.Command{
			{Verb: checklist.CommandNote, Text: "the lid is loose"},
			{Verb: checklist.CommandSkip, Text: "no spacers"},
			// "skip" alone has no reason and is no command.
			{Verb: checklist.CommandAgain},
		}
		for _, w := range want {
			if got := <-p.commands; got != w {
				t.Errorf("command = %+v, want %+v", got, w)
			}
		}
	})
}

func TestTerminalAtItsEndHasNoAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := newTerminalPerson(io.Discard, false, silence{}, "Ada")
		p.read(t.Context(), strings.NewReader(""))
		if _, err := p.Ask(t.Context(), checklist.Question{Kind: checklist.AskText}); !errors.Is(err, checklist.ErrNoAnswer) {
			t.Errorf("Ask = %v, want ErrNoAnswer", err)
		}
	})
}

func TestTerminalShowsNoControlCodes(t *testing.T) {
	var shown bytes.Buffer
	p := newTerminalPerson(&shown, false, silence{}, "Ada")
	if err := p.Instruct(t.Context(), checklist.Instruction{Text: "lay \x1b[2Jthe tag"}); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(shown.String(), "\x1b") {
		t.Errorf("shown %q holds an escape", shown.String())
	}
}
