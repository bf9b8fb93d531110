package diagnose

import (
	"slices"
	"strconv"
	"strings"

	"propwright/parsers"
)

var (
	decimalVersion = lazily(`(?i)\bver(?:sion)?\w*\b.{0,12}\bvalue=(\d{1,3})\b|\bvalue=(\d{1,3})\b.{0,6}$`)
	emptyVersion   = lazily(`(?i)\bver(?:s|sion)?\w*\W{0,6}\(?unknown|^\W*=\W*\(?unknown\)?\W*$`)
	terseVersion   = lazily(`(?i)[#;:=]v(?:er)?[;:= ]?(90|91|92|88|89|b2|12|00|ff)\b`)
)

// chipValue is the version that a line tells, ok false for none; blank is a line that
// should hold one and does not.
func chipValue(l *line) (value byte, blank, ok bool) {
	text := l.text
	if flat, is := flatJSON(text); is {
		if !strings.Contains(flat, "reg=version") {
			return 0, false, false
		}
		if m := decimalVersion().FindStringSubmatch(flat); m != nil {
			v, err := strconv.ParseUint(m[1]+m[2], 10, 8)
			return byte(v), false, err == nil
		}
		return 0, false, false
	}
	if l.kind == parsers.KindReaderVersion {
		if c, err := parsers.ParseChipVersion(l.fields["version"]); err == nil {
			return c.Value, false, true
		}
	}
	if m := terseVersion().FindStringSubmatch(text); m != nil && len(text) < 40 {
		v, err := strconv.ParseUint(m[1], 16, 8)
		return byte(v), false, err == nil
	}
	if v, ok := chipByte(l); ok {
		return v, false, true
	}
	if emptyVersion().MatchString(text) && !strings.Contains(strings.ToLower(text), "0x") {
		return 0, true, true
	}
	return 0, false, false
}

var (
	chipIDText  = lazily(`(?i)\b(?:chip|id|ver(?:sion)?|rev(?:ision)?|reg(?:ister)?)\b\W{0,4}(?:(?:id|reg(?:ister)?|ver(?:sion)?|is)\b\W{0,4})?(0x)?([0-9a-f]{2})h?\b`)
	moreBytes   = lazily(`(?i)^[ :.\-]?[0-9a-f]{2}\b`)
	frontEnd    = mustPhrases("reader*|rfid|mfrc522|rc522|pcd|rdr|nfc|rf|front_end|frontend !tag|card|fob|uid|firmware|fw|build|program|sketch|boot", "tag_chip|card_chip|rf_chip|radio_chip !firmware|fw|build")
	listedChips = []string{"genuine", "clone", "imitation", "zero", "ones"}
)

// chipByte is the one byte that a line about the reader chip gives as its version or id.
// Without 0x before it only a value counts that a reader chip is known to give.
func chipByte(l *line) (byte, bool) {
	if l.uid != "" || len(l.text) > 80 || !frontEnd.holdsAny(l.bag) {
		return 0, false
	}
	m := chipIDText().FindStringSubmatchIndex(l.text)
	if m == nil || moreBytes().MatchString(l.text[m[1]:]) {
		return 0, false
	}
	v, err := strconv.ParseUint(l.text[m[4]:m[5]], 16, 8)
	if err != nil || m[2] < 0 && !slices.Contains(listedChips, versionClass(byte(v))) {
		return 0, false
	}
	return byte(v), true
}

// versionClass names what a version value stands for, as the finding's values do.
func versionClass(v byte) string {
	switch c := parsers.ChipVersion(v); {
	case c.Genuine():
		return "genuine"
	case v == 0x00:
		return "zero"
	case v == 0xFF:
		return "ones"
	case v == 0x12:
		return "imitation"
	case c.Family != parsers.ChipUnlisted:
		return "clone"
	}
	return "odd"
}

// A told version, with the reader and the stretch between remarks that it is of.
type told struct {
	class  string
	value  int // -1 for a line without one
	reader string
	part   int
	l      *line
}

// detectVersion looks at the version register: one steady value, several, or none.
func (r *Reading) detectVersion() {
	var all []told
	part := 0
	for i := range r.lines {
		l := &r.lines[i]
		if l.remark {
			part++
			continue
		}
		v, blank, ok := chipValue(l)
		switch {
		case !ok:
		case blank:
			all = append(all, told{"blank", -1, l.reader, part, l})
		default:
			all = append(all, told{versionClass(v), int(v), l.reader, part, l})
		}
	}
	if len(all) == 0 {
		for i := range r.lines {
			if l := &r.lines[i]; l.kind == parsers.KindReaderMissing && !l.remark {
				r.add("version", "zero", rankRemark, l)
				return
			}
		}
		return
	}
	worst := -1
	f := r.k.Finding("version")
	if f < 0 {
		return
	}
	var at *line
	values := map[string]map[int]bool{} // by reader
	inPart := map[string]map[int]bool{}
	for _, t := range all {
		if values[t.reader] == nil {
			values[t.reader] = map[int]bool{}
		}
		values[t.reader][t.value] = true
		key := t.reader + "/" + strconv.Itoa(t.part)
		if inPart[key] == nil {
			inPart[key] = map[int]bool{}
		}
		inPart[key][t.value] = true
		if v := r.k.Findings[f].Value(t.class); v > worst {
			worst, at = v, t.l
		}
	}
	class := r.k.Findings[f].Values[max(worst, 0)].ID
	several := false
	for _, v := range values {
		several = several || len(v) >= 3
	}
	for _, v := range inPart {
		several = several || len(v) >= 2
	}
	if several {
		class = "several"
	}
	r.count("version", class, at)
}

var (
	testPassed = mustPhrases("ok|passed|pass|fine|good|right|success*")
	testFailed = mustPhrases("defect*|fail*|faulty")
	testOpen   = mustPhrases("compare*|comparable|known|list|unknown|skipped|no_list", "differ*")
	testLine   = mustPhrases("selftest*|self_test|built-in_check|built_in check|test", "test result|bytes|ok|fail*|defect|passed", "compare bytes|versions")
)

// detectSelfTest looks at the self-test at start.
func (r *Reading) detectSelfTest(chip bool) {
	passed, open, failed := 0, 0, 0
	var at *line
	for i := range r.lines {
		l := &r.lines[i]
		if l.remark || l.host || l.uid != "" {
			continue
		}
		if l.kind != parsers.KindReaderSelfTest && !testLine.holdsAny(l.bag) {
			continue
		}
		at = l
		switch {
		case l.fields["result"] == "passed":
			passed++
		case testFailed.holdsAny(l.bag):
			failed++
		case l.fields["result"] == "not-comparable", testOpen.holdsAny(l.bag):
			open++
		case l.fields["result"] == "failed", l.fields[parsers.FieldOutcome] == "failure":
			failed++
		case testPassed.holdsAny(l.bag):
			passed++
		}
	}
	switch {
	case failed > 0:
		r.count("selftest", "failed", at)
	case open > 0:
		r.count("selftest", "not-comparable", at)
	case passed > 0:
		r.count("selftest", "passed", at)
	case chip && slices.ContainsFunc(r.lines, func(l line) bool { return l.start }):
		r.count("selftest", "not-run", nil)
	}
}

var fieldRegister = lazily(`(?i)(?:0x14|14h|txcontrol\w*)\W{1,6}(?:0x)?([0-9a-f]{2})h?\b`)

// detectField reads the transmitter bits where a line tells register 0x14.
func (r *Reading) detectField() {
	for i := range r.lines {
		l := &r.lines[i]
		m := fieldRegister().FindStringSubmatch(l.text)
		if m == nil {
			continue
		}
		v, err := strconv.ParseUint(m[1], 16, 8)
		if err != nil {
			continue
		}
		if v&3 == 0 {
			r.count("field", "off", l)
			return
		}
		r.add("field", "on", rankRemark, l)
	}
}
