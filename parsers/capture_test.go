package parsers_test

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/google/go-cmp/cmp"

	"propwright/parsers"
)

func moment(ms int) time.Time {
	return time.Date(2026, 3, 1, 12, 0, 0, ms*int(time.Millisecond), time.UTC)
}

// contract.md: offset,time; a row a line of text and at gaps of 1 ms and more;
// gaps between attachments are marked here.
func TestArrivalWriter(t *testing.T) {
	var out bytes.Buffer
	w, err := parsers.NewArrivals(&out)
	if err != nil {
		t.Fatal(err)
	}
	write := func(text string, at time.Time) {
		if err := w.Bytes([]byte(text), at); err != nil {
			t.Fatal(err)
		}
	}
	write("on", moment(0))
	write("e\r\ntw", moment(0).Add(900*time.Microsecond))
	write("o", moment(5))
	write("\r", moment(5))
	write("\nthree", moment(5))
	if err := w.Gap(moment(10), moment(400)); err != nil {
		t.Fatal(err)
	}
	write("x", moment(400))
	want := "offset,time\n" +
		"0,2026-03-01T12:00:00.000000000Z\n" +
		"5,2026-03-01T12:00:00.000900000Z\n" +
		"7,2026-03-01T12:00:00.005000000Z\n" +
		"10,2026-03-01T12:00:00.005000000Z\n" +
		"# gap 2026-03-01T12:00:00.010000000Z 2026-03-01T12:00:00.400000000Z\n" +
		"15,2026-03-01T12:00:00.400000000Z\n"
	if diff := cmp.Diff(want, out.String()); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if w.Offset() != 16 {
		t.Errorf("Offset() = %d; want 16", w.Offset())
	}
}

// joined puts neighbouring pieces of one time together, so that the size of the
// reads does not show.
func joined(pieces []parsers.Piece) []parsers.Piece {
	var out []parsers.Piece
	for _, p := range pieces {
		if n := len(out); n > 0 && p.Gap == nil && out[n-1].Gap == nil && out[n-1].At.Equal(p.At) {
			out[n-1].Bytes = append(out[n-1].Bytes, p.Bytes...)
			continue
		}
		out = append(out, p)
	}
	return out
}

func TestReadCapture(t *testing.T) {
	arrivals := "offset,time\n0,2026-03-01T12:00:00Z\n3,2026-03-01T12:00:00.005Z\n" +
		"# gap 2026-03-01T12:00:00.010Z 2026-03-01T12:00:00.400Z\n5,2026-03-01T12:00:00.4Z\n# a remark\n"
	for name, wrap := range map[string]func(io.Reader) io.Reader{"whole": func(r io.Reader) io.Reader { return r }, "byte by byte": iotest.OneByteReader, "data with error": iotest.DataErrReader} {
		t.Run(name, func(t *testing.T) {
			var got []parsers.Piece
			err := parsers.ReadCapture(wrap(strings.NewReader("abcdefg")), wrap(strings.NewReader(arrivals)), func(p parsers.Piece) error {
				p.Bytes = bytes.Clone(p.Bytes)
				got = append(got, p)
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			want := []parsers.Piece{
				{Offset: 0, Bytes: []byte("abc"), At: moment(0)},
				{Offset: 3, Bytes: []byte("de"), At: moment(5)},
				{Offset: 5, At: moment(10), Gap: &parsers.Gap{From: moment(10), To: moment(400)}},
				{Offset: 5, Bytes: []byte("fg"), At: moment(400)},
			}
			if diff := cmp.Diff(want, joined(got)); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

// A broken capture gives every byte and then says which file, line and field.
func TestReadBrokenCapture(t *testing.T) {
	const good = "offset,time\n0,2026-03-01T12:00:00Z\n"
	tests := map[string]struct{ arrivals, want string }{
		"row cut off":         {good + "3,2026-03-0", `arrivals.csv:3: field row: "3,2026-03-0" is cut off`},
		"no header":           {"0,2026-03-01T12:00:00Z\n", `arrivals.csv:1: field row: "0,2026-03-01T12:00:00Z": want the header "offset,time"`},
		"offset no number":    {good + "x,2026-03-01T12:00:00Z\n", `arrivals.csv:3: field offset: "x": want a whole number, 0 or more`},
		"offset below zero":   {good + "-1,2026-03-01T12:00:00Z\n", `arrivals.csv:3: field offset: "-1": want a whole number, 0 or more`},
		"offset falls":        {good + "3,2026-03-01T12:00:00Z\n2,2026-03-01T12:00:00Z\n", `arrivals.csv:4: field offset: 2 after 3, offsets must not fall`},
		"behind the end":      {good + "9,2026-03-01T12:00:00Z\n", `arrivals.csv:3: field offset: 9 lies behind the end of the console at 7`},
		"time":                {good + "3,noon\n4,2026-03-01T12:00:00Z\n", `arrivals.csv:3: field time: "noon": not as RFC 3339 has it`},
		"one column":          {good + "3\n", `arrivals.csv:3: field row: "3": want two columns`},
		"gap with one moment": {good + "# gap 2026-03-01T12:00:00Z\n", `arrivals.csv:3: field gap: "2026-03-01T12:00:00Z": want two times`},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var got []byte
			err := parsers.ReadCapture(strings.NewReader("abcdefg"), strings.NewReader(tt.arrivals), func(p parsers.Piece) error {
				got = append(got, p.Bytes...)
				return nil
			})
			ce, typed := errors.AsType[*parsers.CaptureError](err)
			if !typed || ce.Error() != tt.want {
				t.Errorf("ReadCapture: %v\n want %s", err, tt.want)
			}
			if string(got) != "abcdefg" {
				t.Errorf("the bytes came as %q", got)
			}
		})
	}
}

func TestReadCaptureWithoutTimesAndWithErrors(t *testing.T) {
	var got []parsers.Piece
	keep := func(p parsers.Piece) error {
		p.Bytes = bytes.Clone(p.Bytes)
		got = append(got, p)
		return nil
	}
	if err := parsers.ReadCapture(strings.NewReader("abc"), nil, keep); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]parsers.Piece{{Bytes: []byte("abc")}}, got); diff != "" {
		t.Errorf("without arrivals (-want +got):\n%s", diff)
	}
	gone, full := errors.New("disk gone"), errors.New("full")
	if err := parsers.ReadCapture(iotest.ErrReader(gone), nil, keep); !errors.Is(err, gone) {
		t.Errorf("a console that cannot be read: %v", err)
	}
	if err := parsers.ReadCapture(strings.NewReader("abc"), nil, func(parsers.Piece) error { return full }); err != full {
		t.Errorf("an error of the caller's: %v; want it unchanged", err)
	}
	var out failing
	if _, err := parsers.NewArrivals(out); err == nil {
		t.Error("NewArrivals on a full disk: no error")
	}
	if err := parsers.ResumeArrivals(out, 3).Bytes([]byte("x"), moment(0)); err == nil {
		t.Error("Bytes on a full disk: no error")
	}
}

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errors.New("disk full") }

// FuzzCapture: every byte comes back in order whatever the arrivals say, and what
// the writer wrote is read without complaint, with the times of its rows.
func FuzzCapture(f *testing.F) {
	f.Add([]byte("abc\r\ndef"), []byte("offset,time\n0,2026-03-01T12:00:00Z\n# gap x y\n"), 3)
	f.Fuzz(func(t *testing.T, console, arrivals []byte, piece int) {
		var got []byte
		keep := func(p parsers.Piece) error {
			if p.Offset != int64(len(got)) {
				t.Fatalf("piece at %d after %d bytes", p.Offset, len(got))
			}
			got = append(got, p.Bytes...)
			return nil
		}
		_ = parsers.ReadCapture(bytes.NewReader(console), bytes.NewReader(arrivals), keep) // may complain, must not lose
		if !bytes.Equal(got, console) {
			t.Fatalf("%q came back as %q", console, got)
		}

		var rows bytes.Buffer
		w, err := parsers.NewArrivals(&rows)
		if err != nil {
			t.Fatal(err)
		}
		piece = max(piece%16, 1)
		for i, rest := 0, console; len(rest) > 0; i++ {
			n := min(piece, len(rest))
			if err := w.Bytes(rest[:n], moment(i)); err != nil {
				t.Fatal(err)
			}
			rest = rest[n:]
		}
		got = nil
		check := func(p parsers.Piece) error {
			for i := range p.Bytes {
				if want := moment((int(p.Offset) + i) / piece); !p.At.Equal(want) {
					t.Fatalf("byte %d arrived %v; want %v", int(p.Offset)+i, p.At, want)
				}
			}
			return keep(p)
		}
		if err := parsers.ReadCapture(bytes.NewReader(console), &rows, check); err != nil || !bytes.Equal(got, console) {
			t.Fatalf("own arrivals: %v, %q of %q", err, got, console)
		}
	})
}
