package serialmon_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"propwright/serialmon"
)

// sentText is console text of the kind that the table below was measured with; each
// line is sent by itself, so there are gaps between lines.
func sentText() []string {
	var lines []string
	for range 40 {
		lines = append(lines,
			"12:04:51 tag 5C 0A 91 E3 on the reader\r\n", "12:04:51 card accepted, coil 117 on\r\n", "12:04:53 tag gone\r\n")
	}
	return lines
}

func misread(sent, read int) (got []byte, in int) {
	for _, l := range sentText() {
		got = append(got, serialmon.Misread([]byte(l), sent, read)...)
		in += len(l)
	}
	return got, in
}

// TestMisreadAgainstTrials holds the model against trials with another program's
// model of a receiver at the wrong speed (log text with gaps; the receiver waits
// for the line to rise). Its texts were others, so shares are compared loosely and
// what does not depend on the text exactly.
func TestMisreadAgainstTrials(t *testing.T) {
	for _, tt := range []struct {
		sent, read       int
		ratioLo, ratioHi float64
		mostDistinct     int
		only             []byte // the only values that may arrive, nil for any
		common           []byte // values of which the most frequent is one, nil for any
	}{
		{sent: 9600, read: 9600, ratioLo: 1, ratioHi: 1, mostDistinct: 40},
		{sent: 9600, read: 115200, ratioLo: 2.6, ratioHi: 3.4, mostDistinct: 1, only: []byte{0x00}},
		{sent: 115200, read: 9600, ratioLo: 0.05, ratioHi: 0.13, mostDistinct: 40},
		{sent: 115200, read: 57600, ratioLo: 0.35, ratioHi: 0.5, mostDistinct: 60},
		{sent: 57600, read: 115200, ratioLo: 1.4, ratioHi: 1.75, mostDistinct: 20, common: []byte{0x18, 0x98, 0x06, 0x66, 0xF8, 0x9E}},
		{sent: 38400, read: 115200, ratioLo: 1.5, ratioHi: 2.0, mostDistinct: 4, only: []byte{0xE0, 0x1C, 0xFC, 0x00}},
	} {
		got, in := misread(tt.sent, tt.read)
		ratio := float64(len(got)) / float64(in)
		if ratio < tt.ratioLo || ratio > tt.ratioHi {
			t.Errorf("%d read at %d: %.2f bytes out for one in, want %.2f to %.2f", tt.sent, tt.read, ratio, tt.ratioLo, tt.ratioHi)
		}
		count := map[byte]int{}
		top := byte(0)
		for _, c := range got {
			if count[c]++; count[c] > count[top] {
				top = c
			}
			if tt.only != nil && !slices.Contains(tt.only, c) {
				t.Fatalf("%d read at %d: byte %02X, want only % X", tt.sent, tt.read, c, tt.only)
			}
		}
		if len(count) > tt.mostDistinct {
			t.Errorf("%d read at %d: %d distinct values, want %d at most", tt.sent, tt.read, len(count), tt.mostDistinct)
		}
		if tt.common != nil && !slices.Contains(tt.common, top) {
			t.Errorf("%d read at %d: most frequent %02X, want one of % X", tt.sent, tt.read, top, tt.common)
		}
	}
}

// Tolerance in the trials: error-free from -4.0 % to +5.5 %, broken at -4.5 % and +7 %.
func TestMisreadTolerance(t *testing.T) {
	text := strings.Join(sentText(), "")
	for _, off := range []float64{-0.040, -0.02, 0, 0.02, 0.055} {
		if got, _ := misread(100000, int(100000*(1+off))); !bytes.Equal(got, []byte(text)) {
			t.Errorf("read %+.1f %% off: garbled, want the text", 100*off)
		}
	}
	for _, off := range []float64{-0.045, 0.07} {
		if got, _ := misread(100000, int(100000*(1+off))); bytes.Equal(got, []byte(text)) {
			t.Errorf("read %+.1f %% off: the text, want garbage", 100*off)
		}
	}
}

func FuzzMisread(f *testing.F) {
	f.Add([]byte("ready\r\n"), 9600, 115200)
	f.Add([]byte{0, 255, 0x55}, 115200, 9600)
	f.Fuzz(func(t *testing.T, sent []byte, sentAt, readAt int) {
		if len(sent) > 200 || sentAt < 300 || sentAt > 4_000_000 || readAt < 300 || readAt > 4_000_000 || readAt/sentAt > 100 {
			return
		}
		got := serialmon.Misread(sent, sentAt, readAt)
		if most := (10*len(sent)+1)*readAt/sentAt/9 + 1; len(got) > most {
			t.Errorf("%d bytes of %d, want %d at most: a byte takes 9.5 bits", len(got), len(sent), most)
		}
		if same := serialmon.Misread(sent, sentAt, sentAt); !bytes.Equal(same, sent) {
			t.Errorf("at the same speed % X became % X", sent, same)
		}
	})
}
