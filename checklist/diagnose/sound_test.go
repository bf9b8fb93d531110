package diagnose_test

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"

	"propwright/checklist"
	"propwright/checklist/diagnose"
)

func answered(t *testing.T, k *diagnose.Knowledge, answers ...string) (*diagnose.Result, *diagnose.Belief) {
	t.Helper()
	var all [][]diagnose.Evidence
	for _, text := range answers {
		a, err := k.Answer(text)
		if err != nil || len(a.Evidence) == 0 {
			t.Fatalf("answer %q: %+v, %v", text, a, err)
		}
		all = append(all, a.Evidence)
	}
	r, b, err := k.Diagnose(diagnose.Merge(all...), nil, diagnose.Situation{})
	if err != nil {
		t.Fatal(err)
	}
	return r, b
}

// The command contract's knowledge: every cause that outside checks use is there, and at
// least 60 in all; each can be told from nothing by some finding, and each finding can be
// asked for or read.
func TestBuiltinKnowledgeIsWhole(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	for _, c := range labels(t) {
		for _, id := range c.accepted {
			if id != diagnose.NothingWrong && k.Cause(id) < 0 {
				t.Errorf("case %s: no cause %q", c.id, id)
			}
		}
	}
	for _, id := range strings.Fields(`address-number-base card-handling-slip field-noise lamp-colour-wire list-overflow loop-blocked
		mac-not-unicast network-cable-out ram-exhausted serial-levels-wrong something-else tag-kind-unsupported uid-end-misjudged
		usb-driver-missing reader-supply-missing spi-wires-swapped`) {
		if k.Cause(id) < 0 {
			t.Errorf("no cause %q", id)
		}
	}
	if len(k.Causes) < 60 {
		t.Errorf("%d causes, want 60 at least", len(k.Causes))
	}
	for c := range k.Causes {
		told := 0.0
		for i := range k.Tests {
			f := k.Tests[i].Finding
			for v := range k.Findings[f].Values {
				o := diagnose.Observation{Finding: f, Value: v}
				told = max(told, k.Likelihood(o, c)/k.Likelihood(o))
			}
		}
		if told < 4 && k.Causes[c].ID != diagnose.SomethingElse {
			t.Errorf("no test tells %s: at best %.1f times as likely as without it", k.Causes[c].ID, told)
		}
	}
}

// Probabilities are numbers from 0 to 1 and stay so however much is seen.
func TestBeliefStaysSound(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	b := k.Prior()
	for f := range k.Findings {
		var err error
		if b, err = b.Given(diagnose.Observation{Finding: f, Value: len(k.Findings[f].Values) - 1}); err != nil {
			t.Fatal(err)
		}
	}
	sum := b.Nothing()
	for _, p := range b.Causes() {
		if math.IsNaN(p) || p < 0 || p > 1 {
			t.Fatalf("a probability of %v", p)
		}
		sum += p
	}
	if sum < 1-1e-9 {
		t.Errorf("nothing and all causes come to %v, want 1 at least", sum)
	}
}

// An unfamiliar pattern raises "something else" instead of forcing a match.
func TestUnfamiliarPatternIsSomethingElse(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	r, _ := answered(t, k, "lamp-two-states=one-wrong", "range-now=short", "read-mac=shared", "newest=refused", "time-line=factor", "kernel-log=a-service")
	if r.Causes[0].ID != diagnose.SomethingElse {
		t.Errorf("first is %s; want %s", top(r, 3), diagnose.SomethingElse)
	}
	if r, _ := answered(t, k, "link-lamp=down"); r.Causes[0].ID == diagnose.SomethingElse {
		t.Errorf("a plain sign is taken for something else: %s", top(r, 3))
	}
}

// Two faults at once come out as two.
func TestPairOfFaults(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	r, _ := answered(t, k, "link-lamp=down", "swap-net-cable=cured", "ping=none", "version-ten=several", "flex=cured", "show-tag=seldom")
	var two []string
	for _, c := range r.Causes[:2] {
		two = append(two, c.ID)
	}
	slices.Sort(two)
	if want := []string{"header-joint", "network-cable-out"}; !slices.Equal(two, want) || r.Causes[1].Probability < 0.3 {
		t.Errorf("first two %s; want %v, both likely", top(r, 3), want)
	}
}

// A test that destroys what another still has to see is not proposed before it.
func TestWhatDestroysComesAfterWhatItSpoils(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	_, b := answered(t, k, "symptom=after-power")
	names := func(b *diagnose.Belief) []string {
		var out []string
		for _, c := range b.Next(diagnose.Situation{}) {
			out = append(out, k.Tests[c.Test].ID)
		}
		return out
	}
	before := names(b)
	if slices.Contains(before, "reset-button") || slices.Contains(before, "version-ten") || !slices.Contains(before, "deaf-after") {
		t.Errorf("proposed %v; want deaf-after, and neither reset-button nor version-ten before it", before)
	}
	_, b = answered(t, k, "symptom=after-power", "deaf-after=no")
	if then := names(b); !slices.Contains(then, "cold-start") || slices.Contains(then, "version-ten") {
		t.Errorf("proposed %v; want cold-start, and not version-ten before it", then)
	}
	_, b = answered(t, k, "symptom=after-power", "cold-start=comes-up", "deaf-after=no", "read-field=on", "link-lamp=up", "controller-log=connected",
		"connect=accepted", "old-client=dropped", "count-sockets=free", "program-runs=runs", "blocked=nothing")
	if after := names(b); !slices.Contains(after, "reset-button") {
		t.Errorf("proposed %v; want reset-button now that nothing is spoilt by it", after)
	}
}

// Each proposal's gain covers its cost, falls from one to the next, and each is told why.
func TestNextTestSaysWhy(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	r, b := answered(t, k, "show-tag=none")
	if r.Next == nil || r.Next.Why == "" || !strings.HasSuffix(r.Next.Why, ".") || r.Next.Gain <= 0 || r.Next.Cost <= 0 || len(r.Next.Results) < 2 {
		t.Fatalf("next %+v", r.Next)
	}
	last := math.Inf(1)
	for _, c := range b.Next(diagnose.Situation{}) {
		if c.Gain <= 0 || c.Gain > last {
			t.Errorf("test %s: gain %.2f after %.2f", k.Tests[c.Test].ID, c.Gain, last)
		}
		last = c.Gain
	}
	for _, c := range b.Next(diagnose.Situation{Minutes: 2}) {
		if k.Cost(c.Test, diagnose.Situation{}) > 2 {
			t.Errorf("with 2 minutes left: %s takes %.1f", k.Tests[c.Test].ID, k.Cost(c.Test, diagnose.Situation{}))
		}
	}
}

func frames(t *testing.T, text string) []checklist.Frame {
	t.Helper()
	f, err := diagnose.ReadFrames(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// What the controller's side saw, in the contract's JSON Lines.
func TestFrames(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	tests := map[string]struct {
		text string
		coil int
		want string
	}{
		"never":       {"", 117, "controller=never"},
		"right coil":  {`{"kind":"connected","conn":1}` + "\n" + `{"kind":"request","conn":1,"function":5,"address":116,"coil":117,"values":[1],"answer":"ok"}`, 117, "coil=right"},
		"neighbour":   {`{"kind":"request","conn":1,"function":5,"address":117,"coil":118,"values":[1],"answer":"ok"}`, 117, "coil=neighbour"},
		"function 01": {`{"kind":"request","conn":1,"function":15,"address":1,"coil":2,"answer":"exception 01"}`, 0, "exception=function"},
		"silent":      {`{"kind":"connected","conn":1}` + "\n" + `{"kind":"closed","conn":1}`, 0, "requests=time-out"},
		"new each": {strings.Repeat(`{"kind":"connected","conn":1}`+"\n"+`{"kind":"closed","conn":2}`+"\n", 6) +
			`{"kind":"request","conn":1,"function":1,"answer":"ok"}`, 0, "polling=new-each"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var got []string
			for _, e := range k.Frames(frames(t, tt.text), tt.coil) {
				got = append(got, k.Findings[e.Finding].ID+"="+k.Findings[e.Finding].Values[e.Value].ID)
			}
			if !slices.Contains(got, tt.want) {
				t.Errorf("found %v, want %s among them", got, tt.want)
			}
		})
	}
	for text, want := range map[string]string{
		"{":                    "link capture: line 1: ",
		"\n\n{\"kind\":\"x\"}": `link capture: line 3: field kind: "x": no such kind`,
	} {
		if _, err := diagnose.ReadFrames(strings.NewReader(text)); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("ReadFrames(%q): %v, want %s", text, err, want)
		}
	}
}

// Of a link that a checklist led only what it did not do itself counts; that nobody came
// counts where a board was to come.
func TestFramesOfALinkThatWasLed(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	const write = `{"kind":"request","conn":1,"function":5,"address":117,"coil":118,"values":[1],"answer":"ok"}`
	ended := strings.Repeat(`{"kind":"connected","conn":1}`+"\n"+`{"kind":"closed","conn":2}`+"\n", 6) + write
	for name, tt := range map[string]struct {
		text   string
		wanted bool
		want   []string
	}{
		"another coil":           {write, false, []string{"link=up", "controller=connected", "coil=neighbour"}},
		"connections ended":      {ended, true, []string{"link=up", "controller=connected", "coil=neighbour"}},
		"nobody, none wanted":    {"", false, nil},
		"nobody, one was wanted": {"", true, []string{"controller=never"}},
	} {
		var got []string
		for _, e := range k.LedFrames(frames(t, tt.text), 117, tt.wanted) {
			got = append(got, k.Findings[e.Finding].ID+"="+k.Findings[e.Finding].Values[e.Value].ID)
		}
		slices.Sort(got)
		slices.Sort(tt.want)
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", name, got, tt.want)
		}
	}
}

// Of a tag's number only the beginning is handed on, in whatever print; addresses and
// times stay.
func TestShorten(t *testing.T) {
	for text, gone := range map[string]string{
		"tag: 5C 0A 91 E3 type 1K":                  "91 E3",
		"[TAG] ON 7E:31:0B:44 SAK 08":               "0B:44",
		"tag 04-3F-A1-22-B7-60-80 is welcome":       "A1-22",
		"uid 0x88043fa1":                            "043fa1",
		"picked up 43,144,6,215 sak 08":             "144,6",
		"bytes ('0x5c', '0xa', '0x91', '0xe3')":     "0x91",
		"card 7E31B44 refused":                      "31B44",
		"joined 043fa122b76080":                     "3fa122",
		`{"ms":7,"ev":"tag","uid":"2b9006d7"}`:      "9006d7",
		"uid as one number 1544196579":              "4196579",
		"16:22:49.586 -> Card seen 285C98D (1K)":    "5C98D",
		"2031-09-01T08:10:04 reader tag=5c0a91e3 s": "0a91e3",
	} {
		if got := diagnose.Shorten(text); strings.Contains(got, gone) {
			t.Errorf("Shorten(%q) = %q: it still holds %q", text, got, gone)
		}
	}
	for _, text := range []string{
		"net: ip 10.29.10.134", "eth mac : 02:5e:82:37:fa:62", "00000089 [RDR] VERREG=92", "16:22:41.032 -> Rx gain 33 dB",
		"2031-09-01T08:10:04 core alive hours=9", "ready, waiting for a tag", "net: gateway 10.29.10.1 mask 255.255.255.0",
	} {
		if got := diagnose.Shorten(text); got != text {
			t.Errorf("Shorten(%q) = %q, want it as it was", text, got)
		}
	}
}

// The page stands for itself, escapes what it was given and hides whole UIDs.
func TestPage(t *testing.T) {
	k := knowledge(t, diagnose.LoadOptions{})
	profiles, err := wordings()
	if err != nil {
		t.Fatal(err)
	}
	reading, err := k.ReadText(strings.NewReader("reader: version 0x0 <script>\nuid 0x88043fa1\n"), profiles...)
	if err != nil {
		t.Fatal(err)
	}
	r, _, err := k.Diagnose(reading.Evidence(), nil, diagnose.Situation{Minutes: 3})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := (diagnose.Page{Prop: "a<b>", Result: r, Story: []string{"Asked <i>"}}).Write(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"a&lt;b&gt;", "By-pass the prop", "Asked &lt;i&gt;", "Next test", "What was seen"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the page does not hold %q", want)
		}
	}
	for _, not := range []string{"<script>", "88043fa1", "a<b>"} {
		if strings.Contains(b.String(), not) {
			t.Errorf("the page holds %q", not)
		}
	}
}

// No text, answer or link capture makes it panic, and what comes out is sound.
func FuzzRead(f *testing.F) {
	for _, text := range []string{
		"reader: version 0x0 (unknown)\nWARN\ufffdreader 0: version", "{\"ms\":1,\"ev\":\"reader\",\"reg\":\"version\",\"value\":18}\n", "@9600 : \x98~\xfe\n@4800 : hello",
		"coil 1 expected, coil 2 went on\n(MISO wire lifted)\nLamp: green=HIGH red=LOW\n[seen: red]", "-- 10 mm of acrylic --\nNo tag.\n", "[ 1.0] x attached to ttyUSB0\n[ 1.5] x disconnected from ttyUSB0",
		"{\"kind\":\"request\",\"conn\":1}", "other wires=no change", "ip 0.0.0.0 gw 255.255.254.0",
	} {
		f.Add(text)
	}
	k, err := diagnose.Builtin()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 4096 {
			return
		}
		reading, err := k.ReadText(strings.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		reading.Unfamiliar()
		seen := reading.Evidence()
		if a, err := k.Answer(text); err == nil {
			seen = diagnose.Merge(seen, a.Evidence)
		}
		if fr, err := diagnose.ReadFrames(strings.NewReader(text)); err == nil {
			seen = diagnose.Merge(seen, k.Frames(fr, 5))
		}
		obs := make([]diagnose.Observation, len(seen))
		for i, e := range seen {
			obs[i] = e.Observation
		}
		b, err := k.Prior().Given(obs...)
		if err != nil || math.IsNaN(b.Nothing()) {
			t.Fatalf("belief %v, %v", b, err)
		}
		diagnose.Shorten(text)
	})
}
