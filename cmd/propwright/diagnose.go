package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"propwright/checklist/diagnose"
	"propwright/checklist/report"
	"propwright/parsers"
	"propwright/serialmon"
)

const diagnoseLong = `diagnose ranks the causes of a prop that registers no tags, says what speaks for and
against each, and names the one test that helps most for what it costs.

It takes what is there: a recorded text, capture or bundle (--from, - for standard
input), a link capture (JSON Lines of "link watch"), a live port (--port), the prop's
newest report where neither is given, and answers: TEST=RESULT, by the ids of a test and
its result or in plain words, such as --answer "other wires=no change". What an answer
was taken for is read back. CAUSE=no tells of a repair that did not cure.

With PROP and a site, what the board prints of its settings and which controller it calls
is held against the plan.

Hard evidence from a port: --resets 10 compares ten starts (bend the header with a plastic
stick meanwhile, for a joint), --for 1m with a tag lying still counts its presence, and
--for 10m with nothing on the reader is a quiet soak.

On a terminal it goes on asking until the cause is plain. Opening a port restarts most
boards and feeds them from USB: a weak adapter, a start from cold and a reader that has
lost its settings no longer show then, so it asks for those first.

An answer that could be given ends with status 0, whatever it says of the board: the
verdict is the checklist's. A site may add causes, findings and tests of its own: *.toml in its knowledge folder.`

type diagnoseOptions struct {
	prop      string
	from      string
	port      string
	speed     string
	seconds   time.Duration
	resets    int
	wording   string
	answers   []string
	site      string
	siteGiven bool
	asJSON    bool
	minutes   float64
	noConsole bool
	page      string
	bundle    string
	at        serialmon.Options // how the port is opened, name and speed apart
}

func newDiagnoseCmd(d deps) *cobra.Command {
	var o diagnoseOptions
	cmd := &cobra.Command{
		Use:   "diagnose [PROP]",
		Short: "Rank the causes of a prop that registers no tags, and name the next test",
		Long:  diagnoseLong,
		Example: `  propwright diagnose --from evening.log --answer "other wires=no change"
  propwright diagnose harbour-bell
  propwright diagnose --answer "link-lamp=down" --answer "ping=no answer" --json`,
		Args: checkArgs(cobra.MaximumNArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 1 {
				o.prop = args[0]
			}
			o.siteGiven = o.site != "" || d.env(siteVariable) != ""
			o.site = chosenSite(d, o.site)
			switch {
			case o.from != "" && o.port != "":
				return usageError{errors.New("diagnose: give --from or --port, not both")}
			case o.minutes < 0:
				return usageError{fmt.Errorf("diagnose: minutes %g: must be 0 or more", o.minutes)}
			case o.resets < 0 || o.resets > mostResets || o.resets > 0 && o.port == "":
				return usageError{fmt.Errorf("diagnose: resets %d: must be 0 to %d, and needs --port", o.resets, mostResets)}
			case o.seconds <= 0:
				return usageError{fmt.Errorf("diagnose: for %v: must be over 0", o.seconds)}
			}
			return runDiagnose(c.Context(), d, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.from, "from", "", "recorded text, capture or report folder, link capture, or - for standard input")
	f.StringVar(&o.port, "port", "", "serial port of the board")
	f.StringVar(&o.speed, "speed", "115200", "speed in baud, or auto")
	f.DurationVar(&o.seconds, "for", 20*time.Second, "how long to listen to the port")
	f.IntVar(&o.resets, "resets", 0, "restart the board so many times while listening to the port, and compare what it says")
	f.StringVar(&o.wording, "wording", "", "wording of the firmware: a built-in name or a file (default: all built-in ones)")
	f.StringArrayVar(&o.answers, "answer", nil, "what is known, TEST=RESULT; may be given again")
	f.Float64Var(&o.minutes, "minutes", 0, "minutes until the prop is needed (0: not known)")
	f.BoolVar(&o.noConsole, "no-console", false, "name no test that needs a computer at the board")
	f.StringVar(&o.page, "page", "", "HTML file to write the result to")
	f.StringVar(&o.bundle, "bundle", "", "folder to make with everything for somebody else, tags' UIDs shortened")
	f.BoolVar(&o.asJSON, "json", false, "print JSON")
	addSiteFlag(cmd, &o.site)
	return cmd
}

// A diagnosis is one case under way.
type diagnosis struct {
	k         *diagnose.Knowledge
	o         diagnoseOptions
	source    string // what was read, in words
	text      string // the console, as it is handed on
	read      [][]diagnose.Evidence
	live      func() []diagnose.Evidence // what goes on being heard; nil for nothing
	answered  []diagnose.Evidence
	heard     []diagnose.Heard
	unheard   []string
	notes     []string
	story     []string
	failed    []string // steps of the checklist
	situation diagnose.Situation
	plan      plannedProp
	talks     bool         // somebody is talked with, so that a port stays open
	bench     *bench       // the open port in a talk; nil for none
	letGo     func() error // closes it
}

func runDiagnose(ctx context.Context, d deps, o diagnoseOptions) error {
	k, err := loadKnowledge(o.site)
	if err != nil {
		return err
	}
	c := &diagnosis{k: k, o: o, situation: diagnose.Situation{Minutes: o.minutes, NoConsole: o.noConsole, Done: map[int]bool{}}}
	for _, text := range o.answers {
		if err := c.tell(text); err != nil {
			return hintedError{usageError{fmt.Errorf("diagnose: %w", err)}, `--answer "ping=no answer"; propwright diagnose --help`}
		}
	}
	if err := c.readPlan(ctx, d); err != nil {
		return err
	}
	talk := d.inTTY && d.errTTY && !o.asJSON && o.from != "-"
	if talk {
		return c.interact(ctx, d)
	}
	if err := c.gather(ctx, d); err != nil {
		return err
	}
	return c.finish(d)
}

// loadKnowledge is the built-in knowledge and what the site adds.
func loadKnowledge(site string) (*diagnose.Knowledge, error) {
	options := diagnose.LoadOptions{}
	dir := filepath.Join(site, "knowledge")
	if info, err := os.Stat(dir); err == nil && info.IsDir() {
		options.Site = os.DirFS(dir)
	} else {
		return diagnose.Builtin()
	}
	k, err := diagnose.Load(options)
	if err != nil {
		return nil, toolError{what: fmt.Sprintf("knowledge of site %q", site), err: err, try: "put that right, or the file aside"}
	}
	return k, nil
}

// tell takes one answer.
func (c *diagnosis) tell(text string) error {
	a, err := c.k.Answer(text)
	if err != nil {
		return err
	}
	h := diagnose.Heard{Told: text, As: []string{}}
	for _, e := range a.Evidence {
		h.As = append(h.As, c.k.Findings[e.Finding].ID+"="+c.k.Findings[e.Finding].Values[e.Value].ID)
	}
	switch {
	case a.Repaired >= 0:
		h.As = append(h.As, c.k.Causes[a.Repaired].ID+" repaired, not cured")
		c.situation.Repaired = append(c.situation.Repaired, a.Repaired)
	case a.Cured:
		h.As = append(h.As, "cured")
	case len(a.Evidence) == 0:
		c.unheard = append(c.unheard, text)
	}
	c.heard = append(c.heard, h)
	c.answered = append(c.answered, a.Evidence...)
	return nil
}

// gather reads what was recorded, or listens, and holds it against the plan.
func (c *diagnosis) gather(ctx context.Context, d deps) error {
	err := c.hear(ctx, d)
	if err == nil {
		c.compare()
	}
	return err
}

func (c *diagnosis) hear(ctx context.Context, d deps) error {
	switch {
	case c.o.port != "":
		return c.listen(ctx, d)
	case c.o.from != "":
		return c.readFrom(d, c.o.from)
	case c.o.prop != "":
		return c.newestReport(d)
	}
	return nil
}

// newestReport reads the prop's newest bundle. Answers alone will do where there is none.
func (c *diagnosis) newestReport(d deps) error {
	dir, err := latestRunFolder(filepath.Join(c.o.site, "reports"), c.o.prop)
	if err != nil || dir == "" {
		if len(c.o.answers) == 0 {
			if err == nil {
				err = errors.New("no report of this prop")
			}
			return toolError{what: fmt.Sprintf("prop %q", c.o.prop), err: withoutPath(err), try: "--from FILE, --port PORT, or --answer TEST=RESULT; --site with the site's folder"}
		}
		c.notes = append(c.notes, "There is no report of this prop in the site; the answers are all there is.")
		return nil
	}
	return c.readFrom(d, dir)
}

// readFrom reads a text, a link capture, or a folder with either or both.
func (c *diagnosis) readFrom(d deps, name string) error {
	fail := func(err error) error {
		return toolError{what: fmt.Sprintf("read %q", name), err: withoutPath(err), try: "the path of a capture, a report's folder, a link capture, or - for standard input"}
	}
	c.source = name
	dir := ""
	if info, err := os.Stat(name); name != "-" && err == nil && info.IsDir() {
		dir = name
	}
	if filepath.Ext(name) == ".jsonl" {
		return c.readFrames(name, false, fail)
	}
	led := false
	if dir != "" {
		if f, err := os.Open(filepath.Join(dir, "report.json")); err == nil {
			evidence, failed, err := c.k.FailedSteps(f)
			f.Close()
			if err != nil {
				return fail(err)
			}
			c.read, c.failed, led = append(c.read, evidence), failed, true
		}
		if frames := filepath.Join(dir, report.FileFrames); exists(frames) {
			if err := c.readFrames(frames, led, fail); err != nil {
				return err
			}
		}
		if !exists(filepath.Join(dir, serialmon.ConsoleFile)) {
			if led || len(c.read) > 0 {
				return nil
			}
		}
	}
	profiles, err := chooseWording(c.o.wording, c.o.site)
	if err != nil {
		return err
	}
	in, arrivals, err := openRecorded(d, name)
	if err != nil {
		return fail(err)
	}
	defer in.Close()
	var times io.Reader
	if arrivals != nil {
		defer arrivals.Close()
		times = arrivals
	}
	reading, stream := c.k.NewReading(), parsers.NewStream(profiles...)
	kept := &keptText{}
	take := func(e parsers.Event) {
		reading.Take(e)
		c.plan.hear(e)
	}
	err = parsers.ReadCapture(io.TeeReader(in, kept), times, func(p parsers.Piece) error {
		if p.Gap != nil {
			stream.Mark(parsers.KindGap, p.Gap.From, gapFields(p.Gap), take)
			return nil
		}
		stream.Feed(p.Bytes, p.At, take)
		return nil
	})
	stream.Flush(take)
	if _, broken := errors.AsType[*parsers.CaptureError](err); err != nil && !broken {
		return fail(err)
	}
	c.text = kept.String()
	c.take(reading, led, name)
	return nil
}

func exists(name string) bool {
	_, err := os.Stat(name)
	return err == nil
}

// take adds what a text shows.
func (c *diagnosis) take(r *diagnose.Reading, led bool, name string) {
	evidence := r.Evidence()
	if led {
		evidence = c.k.Led(evidence)
	}
	if c.o.resets > 0 { // these starts were called for
		evidence = slices.DeleteFunc(evidence, func(e diagnose.Evidence) bool { return c.k.Findings[e.Finding].ID == "starts" })
	}
	c.read = append(c.read, evidence)
	if r.Unfamiliar() {
		c.notes = append(c.notes, "No wording knows this text. Noise, starts, silences and single words are used all the same; `propwright wording learn "+name+"` teaches the rest.")
	}
}

// readFrames reads a link capture; led says that a checklist led the link.
func (c *diagnosis) readFrames(name string, led bool, fail func(error) error) error {
	f, err := os.Open(name)
	if err != nil {
		return fail(err)
	}
	defer f.Close()
	frames, err := diagnose.ReadFrames(f)
	if err != nil {
		return fail(err)
	}
	if led {
		c.read = append(c.read, c.k.LedFrames(frames, 0, false))
	} else {
		c.read = append(c.read, c.k.Frames(frames, 0))
	}
	return nil
}

// result puts together what is known now.
func (c *diagnosis) result() (*diagnose.Result, error) {
	lists := append(slices.Clone(c.read), c.answered)
	if c.live != nil {
		lists = append(lists, c.live())
	}
	r, _, err := c.k.Diagnose(diagnose.Merge(lists...), c.unheard, c.situation)
	if err != nil {
		return nil, toolError{what: "diagnose", err: err}
	}
	r.Heard, r.Notes = c.heard, c.notes
	if len(c.failed) > 0 {
		r.Notes = append(slices.Clone(r.Notes), "The checklist failed at: "+join(c.failed)+". That step, passed, is the proof of the repair.")
	}
	for _, h := range c.heard {
		if len(h.As) == 0 {
			r.Notes = append(r.Notes, fmt.Sprintf("%q is no test that is known; it counts a little, by its words.", h.Told))
		}
	}
	return r, nil
}

// finish prints the result and writes what else was asked for.
func (c *diagnosis) finish(d deps) error {
	r, err := c.result()
	if err != nil {
		return err
	}
	if err := c.files(d, r); err != nil {
		return err
	}
	if c.o.asJSON {
		text, err := json.MarshalIndent(r, "", "  ")
		if err != nil {
			return err
		}
		if _, err := d.out.Write(append(text, '\n')); err != nil {
			return err
		}
		return nil
	}
	return printDiagnosis(d.out, r, d.outTTY)
}

// siteFlagFor is the flag that names the same site again, "" where none is needed.
func siteFlagFor(d deps, site string) string {
	if site == "" || site == "." || site == d.env(siteVariable) {
		return ""
	}
	return " --site " + site
}
