package parsers_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"propwright/parsers"
)

func TestEventJSON(t *testing.T) {
	e := parsers.Event{
		Seq: 3, First: time.Date(2026, 3, 1, 12, 0, 0, 5, time.UTC), Last: time.Date(2026, 3, 1, 13, 0, 0, 0, time.FixedZone("", 3600)),
		Kind: parsers.KindTagPresent, Reader: 0,
		Lines: [2]int{2, 3}, Offset: 41, Raw: []byte("a\\b\x00\xff\r\n\tä\u0085<"), End: "\r\n", Profile: "plain",
	}.Holding(map[string]string{"uid": "5C0A91E3"})
	got, err := json.Marshal(e)
	// raw: a backslash as \\, control codes (C1 as well) and bytes that are no
	// UTF-8 as \xNN, and all that once more as JSON has it.
	want := `{"seq":3,"first":"2026-03-01T12:00:00.000000005Z","last":"2026-03-01T12:00:00.000000000Z",` +
		`"kind":"tag-present","reader":0,"fields":{"uid":"5C0A91E3"},"lines":[2,3],"offset":41,` +
		`"raw":"a\\\\b\\x00\\xFF\\x0D\\x0A\\x09ä\\xC2\\x85\u003c","end":"\r\n","profile":"plain"}`
	if err != nil || string(got) != want {
		t.Errorf("Marshal: %v\n got %s\nwant %s", err, got, want)
	}
	var back parsers.Event
	e.Last = e.Last.UTC()
	if err := json.Unmarshal(got, &back); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(e, back); diff != "" {
		t.Errorf("there and back (-want +got):\n%s", diff)
	}
}

func TestEventJSONOfWhatIsNotKnown(t *testing.T) {
	e := parsers.Event{Seq: 1, Kind: parsers.KindAttached, Reader: parsers.NoReader}
	got, err := json.Marshal(e)
	want := `{"seq":1,"first":null,"last":null,"kind":"attached","reader":null,"fields":{},"lines":[0,0],"offset":0,"raw":null,"end":"","profile":""}`
	if err != nil || string(got) != want {
		t.Errorf("Marshal: %v\n got %s\nwant %s", err, got, want)
	}
}

func TestEventJSONRefusesBrokenLines(t *testing.T) {
	good, err := json.Marshal(parsers.Event{Seq: 1, Kind: parsers.KindBoot, Reader: parsers.NoReader, Raw: []byte("x"), End: "\n"})
	if err != nil {
		t.Fatal(err)
	}
	tests := map[string]struct{ old, new, names string }{
		"kind":   {`"boot"`, `"boots"`, "kind"},
		"end":    {`"end":"\n"`, `"end":"\t"`, "end"},
		"raw":    {`"raw":"x"`, `"raw":"\\x0"`, "raw"},
		"time":   {`"first":null`, `"first":"noon"`, "first"},
		"reader": {`"reader":null`, `"reader":-1`, "reader"},
		"offset": {`"offset":0`, `"offset":-1`, "offset"},
		"uid":    {`"fields":{}`, `"fields":{"uid":"5C"}`, "uid"},
		"cut":    {`"end":"\n"`, ``, "event"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			text := strings.Replace(string(good), tt.old, tt.new, 1)
			if text == string(good) {
				t.Fatalf("nothing to change in %s", good)
			}
			e := parsers.Event{Seq: 9}
			err := e.UnmarshalJSON([]byte(text))
			if err == nil || !strings.Contains(err.Error(), tt.names) || e.Seq != 9 {
				t.Errorf("UnmarshalJSON(%s) = %v, %+v; want an error about %s and nothing changed", text, err, e, tt.names)
			}
		})
	}
}

// An independent validator holds the events of a whole capture against the
// published schema.
func TestEventsFollowTheSchema(t *testing.T) {
	schema := compileSchema(t)
	for _, name := range []string{"H04.log", "H13.log", "F69.long.log"} {
		for _, e := range streamEvents(t, readCapture(t, name), auto(t)...) {
			text, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			if err := validate(schema, text); err != nil {
				t.Fatalf("%s: %s: %v", name, text, err)
			}
		}
	}
	for _, bad := range []string{
		`{"seq":1}`,
		`{"seq":1,"first":"2026-03-01","last":null,"kind":"boot","reader":null,"fields":{},"lines":[1,1],"offset":0,"raw":"","end":"","profile":""}`,
		`{"seq":1,"first":null,"last":null,"kind":"boot","reader":null,"fields":{},"lines":[1,1],"offset":0,"raw":"\\x","end":"","profile":""}`,
	} {
		if validate(schema, []byte(bad)) == nil {
			t.Errorf("the schema takes %s", bad)
		}
	}
}

func compileSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(parsers.EventSchema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("urn:propwright:event", doc); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile("urn:propwright:event")
	if err != nil {
		t.Fatal(err)
	}
	return schema
}

func validate(schema *jsonschema.Schema, text []byte) error {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		return err
	}
	return schema.Validate(doc)
}

// FuzzEventJSON: any event that can be read is written and read back the same,
// and raw bytes survive whatever they are.
func FuzzEventJSON(f *testing.F) {
	f.Add([]byte("a\\x00\xff\u202e"), []byte(`{"seq":1,"kind":"boot","raw":"\\x41","end":"","reader":2,"fields":{"uid":"~5CA91E3"}}`))
	f.Fuzz(func(t *testing.T, raw, text []byte) {
		if back, err := parsers.UnescapeRaw(parsers.EscapeRaw(raw)); err != nil || !bytes.Equal(back, raw) {
			t.Fatalf("raw %q came back as %q, %v", raw, back, err)
		}
		var e, again parsers.Event
		if json.Unmarshal(text, &e) != nil {
			return
		}
		e.Raw = append([]byte{}, raw...)
		out, err := json.Marshal(e)
		if err != nil {
			t.Fatalf("%+v: %v", e, err)
		}
		if err := json.Unmarshal(out, &again); err != nil {
			t.Fatalf("%s: %v", out, err)
		}
		if diff := cmp.Diff(e, again); diff != "" {
			t.Fatalf("(-want +got):\n%s", diff)
		}
	})
}

// An encoder writes each event as AppendJSON does, whatever it wrote before: over lines
// that come again, numbers that go on, leap and roll over, and events of the computer.
func TestEncoderWritesAsEachEventDoes(t *testing.T) {
	ps := auto(t)
	var events []parsers.Event
	emit := func(e parsers.Event) { events = append(events, e) }
	for _, at := range []parsers.Position{{}, {Seq: 7, Line: 96}, {Seq: 99_990, Line: 9_995, Offset: 123_456}, {Seq: 3}} {
		s := parsers.StreamAt(at, ps...)
		s.Mark(parsers.KindAttached, time.Date(2026, 11, 25, 21, 0, 0, 1, time.UTC), map[string]string{"port": "ttyUSB0"}, emit)
		for range 3 {
			for _, name := range []string{"H04.log", "H13.log", "F69.long.log"} {
				s.Feed(readCapture(t, name), time.Date(2026, 11, 25, 21, 0, 0, 1, time.UTC), emit)
				s.Feed(readCapture(t, name), time.Time{}, emit)
			}
		}
		s.Flush(emit)
	}
	var c parsers.EventEncoder
	for i := range events {
		want, err := events[i].AppendJSON(nil)
		if err != nil {
			t.Fatal(err)
		}
		got, err := c.Append(nil, &events[i])
		if err != nil || !bytes.Equal(got, want) {
			t.Fatalf("event %d, %v:\n%s\nwant\n%s", i, err, got, want)
		}
	}
	if len(events) < 1000 {
		t.Errorf("only %d events", len(events))
	}
}
