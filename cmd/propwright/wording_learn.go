package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
	"github.com/spf13/cobra"

	"propwright/parsers"
)

const learnLong = `learn makes a wording from what a board printed. Lines of one shape are shown once,
with how often they came and an example, and with what they most likely report; Enter
takes that, a kind says another, - says that they report nothing.

Without a terminal, and with no answer in --answers FILE, proposals that are sure
enough are taken and the rest stays open. An answers file has a table kinds, from what
a shape says to its kind, or to "-":

    [kinds]
    "CARD ON {uid}" = "tag-present"

Learning again into the same file adds what is new behind what is there, and asks of
nothing that it has, or has left out.`

type learnOptions struct {
	capture string
	out     string
	answers string
	sure    float64
}

func newWordingLearnCmd(d deps) *cobra.Command {
	var o learnOptions
	cmd := &cobra.Command{
		Use:   "learn CAPTURE",
		Short: "Make a wording from what a board printed",
		Long:  learnLong,
		Example: `  propwright events --port /dev/ttyUSB0 --capture evening
  propwright wording learn evening --out my-firmware.toml`,
		Args: checkArgs(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			o.capture = args[0]
			return runWordingLearn(c.Context(), d, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "learned.toml", "file to make, or to add to")
	f.StringVar(&o.answers, "answers", "", "file that says what shapes report")
	f.Float64Var(&o.sure, "sure", 0.7, "how sure a proposal must be, 0 to 1, to be taken without asking")
	return cmd
}

func runWordingLearn(ctx context.Context, d deps, o learnOptions) error {
	name := strings.TrimSuffix(filepath.Base(o.out), ".toml")
	had, err := os.ReadFile(o.out)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return toolError{what: fmt.Sprintf("wording %q", o.out), err: withoutPath(err)}
	}
	answers, err := learnAnswers(o.answers)
	if err != nil {
		return err
	}
	learner, err := learnFrom(ctx, d, o.capture, o.out, had)
	if err != nil {
		return err
	}
	t := &teacher{d: d, answers: answers, sure: o.sure}
	if d.inTTY && o.answers == "" {
		t.in = bufio.NewReader(d.in)
	}
	lessons, open, err := t.teach(learner, parsers.LeftOut(had))
	if err != nil {
		return err
	}
	file, refused, err := parsers.AppendLessons(o.out, name, had, lessons)
	if err != nil {
		return toolError{err: err, try: "--out with the name of a new file, of a-z, 0-9, - and _"}
	}
	if len(lessons) > 0 {
		if err := replaceFile(o.out, file); err != nil {
			return toolError{what: fmt.Sprintf("wording %q", o.out), err: withoutPath(err), try: "--out with a file that can be written"}
		}
	}
	for _, l := range refused {
		fmt.Fprintf(d.err, "not taken: %s as %s: the remark in the file says why\n", parsers.Printable(l.Says), l.As)
	}
	for _, s := range open {
		fmt.Fprintf(d.err, "open: %s: %s\n", s.Times(), parsers.Printable(s.Says))
	}
	if n := learner.Rare(); n > 0 {
		fmt.Fprintf(d.err, "not shown: %d lines, each of a shape that hardly came again\n", n)
	}
	if len(open) > 0 {
		fmt.Fprintln(d.err, "try: the same in a terminal, which asks about what is open, or --answers FILE with a kind for each, or \"-\"")
	}
	taught := 0
	for _, l := range lessons {
		if l.As != "" {
			taught++
		}
	}
	_, err = fmt.Fprintf(d.out, "%s: %d lines learned, %d left out, %d open\n", o.out, taught-len(refused), len(lessons)-taught+len(refused), len(open))
	return err
}

// learnFrom groups what the file does not know yet of a capture.
func learnFrom(ctx context.Context, d deps, capture, out string, had []byte) (*parsers.Learner, error) {
	var profiles []*parsers.Profile
	if strings.Contains(string(had), "[[line]]") {
		p, err := parsers.LoadProfile(out, strings.NewReader(string(had)))
		if err != nil {
			return nil, toolError{err: err, try: "propwright wording check " + out}
		}
		profiles = append(profiles, p)
	}
	in, arrivals, err := openRecorded(d, capture)
	if err != nil {
		return nil, toolError{what: fmt.Sprintf("read %q", capture), err: withoutPath(err), try: "the path of a capture, or - for standard input"}
	}
	defer in.Close()
	if arrivals != nil {
		arrivals.Close() // when it came is of no matter here
	}
	var learner parsers.Learner
	stream := parsers.NewStream(profiles...)
	err = parsers.ReadCapture(in, nil, func(piece parsers.Piece) error {
		stream.Lend(piece.Bytes, piece.At, learner.Look)
		return context.Cause(ctx)
	})
	stream.Flush(learner.Take)
	if err != nil {
		return nil, toolError{what: fmt.Sprintf("read %q", capture), err: err}
	}
	return &learner, nil
}

// learnAnswers reads an answers file; none is none.
func learnAnswers(file string) (map[string]string, error) {
	var a struct {
		Kinds map[string]string `toml:"kinds"`
	}
	if file == "" {
		return nil, nil
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, toolError{what: fmt.Sprintf("answers %q", file), err: withoutPath(err), try: "the path of an answers file"}
	}
	meta, err := toml.Decode(string(text), &a)
	if err != nil {
		return nil, toolError{err: fmt.Errorf("answers %w", parsers.BrokenTOML(file, err))}
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		return nil, usageError{fmt.Errorf("answers %s: field %q: not known, there is the table kinds", file, unknown[0].String())}
	}
	for says, kind := range a.Kinds {
		if _, err := learnedKind(kind); err != nil {
			return nil, usageError{fmt.Errorf("answers %s: %q: %w", file, says, err)}
		}
	}
	return a.Kinds, nil
}

// learnedKind reads what a shape is said to report; "-" is nothing.
func learnedKind(text string) (parsers.Kind, error) {
	k := parsers.Kind(text)
	if text == "-" {
		return "", nil
	}
	if !slices.Contains(parsers.Kinds(), k) || k.Host() {
		var all []string
		for _, known := range parsers.Kinds() {
			if !known.Host() {
				all = append(all, string(known))
			}
		}
		return "", fmt.Errorf("%q: no kind that a line can report, there are: %s", text, strings.Join(all, ", "))
	}
	return k, nil
}

// A teacher says what shapes report: from answers, by asking, or by the proposals.
type teacher struct {
	d       deps
	answers map[string]string
	in      *bufio.Reader // nil where nobody can be asked
	sure    float64
}

func (t *teacher) teach(learner *parsers.Learner, leftOut map[string]bool) (lessons []parsers.Lesson, open []parsers.Shape, err error) {
	for _, s := range learner.Shapes() {
		if leftOut[s.Says] {
			continue
		}
		kind, known, err := t.kindOf(s)
		if err != nil {
			return nil, nil, err
		}
		if !known {
			open = append(open, s)
			continue
		}
		l := parsers.Lesson{Shape: s, As: kind}
		if kind != "" && kind != s.Kind {
			l.Says = learner.SaysFor(s, kind)
		}
		lessons = append(lessons, l)
	}
	return lessons, open, nil
}

func (t *teacher) kindOf(s parsers.Shape) (kind parsers.Kind, known bool, err error) {
	if text, ok := t.answers[s.Says]; ok {
		kind, err = learnedKind(text)
		return kind, err == nil, err
	}
	if t.in != nil {
		return t.ask(s)
	}
	return s.Kind, s.Kind != "" && s.Sure >= t.sure, nil
}

// ask puts the shape to the person at the terminal until the answer is one.
func (t *teacher) ask(s parsers.Shape) (kind parsers.Kind, known bool, err error) {
	proposed := "Enter: left open"
	if s.Kind != "" {
		proposed = fmt.Sprintf("Enter: %s, sure %.2f", s.Kind, s.Sure)
	}
	fmt.Fprintf(t.d.err, "\n%s: %s\nsuch as: %s\n", s.Times(), parsers.Printable(s.Says), parsers.Printable(s.Example))
	for {
		fmt.Fprintf(t.d.err, "?? It reports? [%s; a kind; -: nothing] ", proposed)
		line, err := t.in.ReadString('\n')
		if errors.Is(err, io.EOF) && line == "" {
			return "", false, interruptedError{err}
		}
		line = strings.TrimSpace(line)
		if line == "" {
			return s.Kind, s.Kind != "", nil
		}
		if kind, err = learnedKind(line); err == nil {
			return kind, true, nil
		}
		fmt.Fprintf(t.d.err, "·· %v\n", err)
	}
}

// replaceFile writes a file so that it is whole at any moment.
func replaceFile(path string, text []byte) error {
	next := path + ".next"
	if err := os.WriteFile(next, text, 0o600); err != nil {
		return err
	}
	return os.Rename(next, path)
}
