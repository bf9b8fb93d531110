package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"sync"

	"github.com/fatih/color"

	"propwright/checklist"
	"propwright/parsers"
)

// A terminalPerson is the technician at a terminal. Instructions and questions
// go to stderr; one goroutine reads lines, which answer the question that is open
// and are commands (note, skip, again, reflash, abort) while none is.
type terminalPerson struct {
	out      io.Writer
	coloured bool
	voice    speaker
	far      bool   // large text as well
	narrow   bool   // the output is a terminal, of 80 columns at least
	name     string // who answers
	commands chan checklist.Command

	mu    sync.Mutex
	open  chan string // of the question that waits for a line; nil when none
	ended error       // why no line will come; nil while one may
	last  string      // what was last wanted, to be said again
}

func newTerminalPerson(out io.Writer, coloured bool, voice speaker, name string) *terminalPerson {
	return &terminalPerson{out: out, coloured: coloured, voice: voice, name: name, commands: make(chan checklist.Command)}
}

// read hands lines on until the input or ctx ends. An input that ends closes the
// commands: whoever was there has gone.
func (p *terminalPerson) read(ctx context.Context, in io.Reader) {
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		line := strings.TrimSpace(lines.Text())
		if c, ok := commandOf(line); ok {
			select {
			case p.commands <- c:
			case <-ctx.Done():
				return
			}
			continue
		}
		p.mu.Lock()
		open := p.open
		p.open = nil
		p.mu.Unlock()
		switch {
		case open != nil:
			open <- line
		case line != "":
			p.say(color.FgYellow, "··", "No question is open. Say note TEXT, skip REASON, again, reflash, or abort REASON; Enter alone repeats what is wanted.")
		default:
			p.repeat()
		}
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.ended = checklist.ErrPersonGone
	close(p.commands)
	if p.open != nil {
		close(p.open)
		p.open = nil
	}
}

// commandOf reads a line as a command; skip and abort need a reason.
func commandOf(line string) (checklist.Command, bool) {
	verb, text, _ := strings.Cut(line, " ")
	text = strings.TrimSpace(text)
	switch v := checklist.CommandVerb(strings.ToLower(verb)); v {
	case checklist.CommandNote, checklist.CommandSkip, checklist.CommandAbort:
		return checklist.Command{Verb: v, Text: text}, text != ""
	case checklist.CommandAgain, checklist.CommandReflash:
		return checklist.Command{Verb: v}, text == ""
	}
	return checklist.Command{}, false
}

func (p *terminalPerson) say(c color.Attribute, mark, text string) {
	ink := color.New(c)
	if p.coloured {
		ink.EnableColor()
	} else {
		ink.DisableColor()
	}
	line := mark + " " + parsers.Printable(text)
	if p.narrow {
		line = wrapLine(line, farWidth)
	}
	fmt.Fprintf(p.out, "%s%s\n", ink.Sprint(mark), strings.TrimPrefix(line, mark))
}

// Instruct shows what to do and rings.
func (p *terminalPerson) Instruct(_ context.Context, in checklist.Instruction) error {
	for _, caution := range in.Cautions {
		p.say(color.FgRed, "!!", caution)
	}
	p.mu.Lock()
	p.last = in.Text
	p.mu.Unlock()
	p.say(color.FgCyan, "=>", in.Text)
	p.loud(wordOf(in.Act), figureFar(in))
	p.voice.Play(checklist.SoundNeed)
	return nil
}

// repeat says again what is wanted, for who looked away.
func (p *terminalPerson) repeat() {
	p.mu.Lock()
	last := p.last
	p.mu.Unlock()
	if last != "" {
		p.say(color.FgCyan, "=>", last)
		p.voice.Play(checklist.SoundNeed)
	}
}

// Hear sounds how something came out and prints it as one word and one figure.
func (p *terminalPerson) Hear(sig checklist.Signal) {
	p.voice.Play(sig.Sound)
	ink, mark := color.FgYellow, "◇"
	switch sig.Sound {
	case checklist.SoundGood:
		ink, mark = color.FgGreen, "●"
	case checklist.SoundBad:
		ink, mark = color.FgRed, "▲"
	}
	if !sig.Decided {
		p.say(ink, mark, strings.TrimSpace(sig.Word+" "+sig.Figure))
	}
	p.loud(sig.Word, sig.Figure)
}

// loud prints a word and a figure to be read from across a room.
func (p *terminalPerson) loud(word, figure string) {
	if p.far && word != "" {
		fmt.Fprint(p.out, large(word, figure))
	}
}

// Ask puts the question and waits for a line that answers it.
func (p *terminalPerson) Ask(ctx context.Context, q checklist.Question) (checklist.Answer, error) {
	for _, caution := range q.Cautions {
		p.say(color.FgRed, "!!", caution)
	}
	for {
		got := p.expect() // first: an answer may come as fast as the question is read
		p.say(color.FgMagenta, "??", q.Text+" "+formOf(q))
		p.loud("SAY", "")
		p.voice.Play(checklist.SoundNeed)
		line, err := p.line(ctx, got)
		if err != nil {
			return checklist.Answer{}, err
		}
		a, err := p.answer(q, line)
		if err == nil {
			return a, nil
		}
		p.say(color.FgYellow, "··", err.Error())
	}
}

// converse puts a question of a talk and waits for any line; ok is false where none
// will come.
func (p *terminalPerson) converse(ctx context.Context, question string) (line string, ok bool) {
	got := p.expect()
	p.say(color.FgMagenta, "??", question)
	p.loud("SAY", "")
	p.voice.Play(checklist.SoundNeed)
	line, err := p.line(ctx, got)
	return line, err == nil
}

// formOf shows what an answer looks like.
func formOf(q checklist.Question) string {
	switch {
	case q.Form != "":
		return "[" + q.Form + "]"
	case q.Refuse:
		return "[yes or no; Enter alone is no]"
	case q.Kind == checklist.AskConfirm:
		return "[yes or no]"
	case q.Kind == checklist.AskFigure:
		return "[a figure in " + q.Unit + "]"
	}
	return ""
}

// expect makes the next line an answer.
func (p *terminalPerson) expect() <-chan string {
	got := make(chan string, 1)
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.ended == nil {
		p.open = got
	} else {
		close(got)
	}
	return got
}

// line waits for the line that was expected.
func (p *terminalPerson) line(ctx context.Context, got <-chan string) (string, error) {
	select {
	case line, ok := <-got:
		if !ok {
			p.mu.Lock()
			defer p.mu.Unlock()
			return "", p.ended
		}
		return line, nil
	case <-ctx.Done():
		p.mu.Lock()
		defer p.mu.Unlock()
		p.open = nil
		return "", context.Cause(ctx)
	}
}

// answer reads a line as an answer to the question.
func (p *terminalPerson) answer(q checklist.Question, line string) (checklist.Answer, error) {
	a := checklist.Answer{Text: line, By: p.name}
	switch q.Kind {
	case checklist.AskConfirm:
		switch strings.ToLower(line) {
		case "yes", "y":
			a.Text = "yes"
		case "no", "n":
			a.Text = "no"
		case "":
			if !q.Refuse {
				return a, fmt.Errorf("say yes or no")
			}
			a.Text = "no"
		default:
			return a, fmt.Errorf("%q: say yes or no", line)
		}
	case checklist.AskFigure:
		figure := strings.TrimSpace(strings.TrimSuffix(strings.ReplaceAll(line, ",", "."), q.Unit))
		v, err := strconv.ParseFloat(figure, 64)
		if err != nil {
			return a, fmt.Errorf("%q: say a figure in %s, such as 5.02", line, q.Unit)
		}
		a.Text, a.Value, a.Unit = "", &v, q.Unit
	case checklist.AskLamps:
		if _, _, err := checklist.ParseLampPair(line, 99); err != nil {
			return a, err
		}
	case checklist.AskText:
		if line == "" {
			return a, fmt.Errorf("say something")
		}
	}
	return a, nil
}
