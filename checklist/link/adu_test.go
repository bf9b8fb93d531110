package link_test

import (
	"bytes"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"

	"propwright/checklist/link"
)

// table reads a table of testdata/tables; lines that begin with # name its source.
func table(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/tables/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var records []map[string]string
	for _, line := range all[1:] {
		record := map[string]string{}
		for i, cell := range line {
			record[all[0][i]] = cell
		}
		records = append(records, record)
	}
	return records
}

func unhex(t testing.TB, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// framed puts the header before a PDU: transaction 1, protocol 0, length, unit.
func framed(unit byte, pdu []byte) []byte {
	n := len(pdu) + 1
	return append([]byte{0, 1, 0, 0, byte(n >> 8), byte(n), unit}, pdu...)
}

// The worked examples of the MODBUS Application Protocol Specification V1.1b3.
func TestParseRequestReadsTheSpecificationsExamples(t *testing.T) {
	ff := []int{1, 0, 1, 1, 0, 0, 1, 1, 1, 0} // coils 20 to 29 of 6.11: on are 20 22 23 26 27 28
	want := map[string]link.Request{
		"read-coils":               {Unit: 255, Function: 1, Address: 0x13, Coils: true, Sound: true},
		"read-holding":             {Unit: 255, Function: 3, Address: 0x6B, Sound: true},
		"write-single-coil":        {Unit: 255, Function: 5, Address: 0xAC, Coils: true, Values: []int{1}, Sound: true},
		"write-multiple-coils":     {Unit: 255, Function: 15, Address: 0x13, Coils: true, Values: ff, Sound: true},
		"write-multiple-registers": {Unit: 255, Function: 16, Address: 1, Values: []int{10, 258}, Sound: true},
		"exception":                {Unit: 255, Function: 1, Address: 0x4A1, Coils: true, Sound: true},
		"mbap-read-holding":        {Unit: 255, Function: 3, Address: 4, Sound: true},
	}
	for _, row := range table(t, "modbus_pdu_vectors.csv") {
		adu := framed(0xFF, unhex(t, row["request_hex"]))
		if row["id"] == "mbap-read-holding" {
			adu = unhex(t, row["request_hex"])
		}
		got, err := link.ParseRequest(adu)
		if diff := cmp.Diff(want[row["id"]], got); diff != "" || err != nil {
			t.Errorf("%s: %v (-want +got):\n%s", row["id"], err, diff)
		}
		delete(want, row["id"])
	}
	if len(want) != 0 {
		t.Errorf("examples not in the table: %v", want)
	}
}

// Application Protocol V1.1b3: 6.1 (2000 coils), 6.3 (125 registers), 6.5 (a coil is
// FF00 or 0000), 6.11 (1968 coils), 6.12 (123 registers).
func TestParseRequestKnowsWhatAControllerMustRefuse(t *testing.T) {
	for pdu, sound := range map[string]bool{
		"01 00 00 07 D0": true, "01 00 00 07 D1": false, "01 00 00 00 00": false,
		"03 00 00 00 7D": true, "03 00 00 00 7E": false,
		"05 00 AC FF 00": true, "05 00 AC 00 00": true, "05 00 AC 01 00": false, "05 00 AC FF 01": false, "05 00 AC": false,
		"0F 00 13 00 0A 02 CD 01": true, "0F 00 13 00 0A 01 CD 01": false, "0F 00 13 00 0A 02 CD": false, "0F 00 13 00 00 00": false,
		"10 00 01 00 02 04 00 0A 01 02": true, "10 00 01 00 02 04 00 0A 01": false, "10 00 01 00 7C F8": false,
		"07": true, "2B 0E 01 00": true,
	} {
		r, err := link.ParseRequest(framed(1, unhex(t, pdu)))
		if err != nil || r.Sound != sound {
			t.Errorf("ParseRequest(%s) is sound %t, %v; want %t", pdu, r.Sound, err, sound)
		}
	}
}

func TestReadADUTakesFramesApartByTheirLength(t *testing.T) {
	var stream []byte
	var want [][]byte
	for _, row := range table(t, "modbus_tcp_adu_computed.csv") {
		adu := unhex(t, row["adu_hex"])
		stream, want = append(stream, adu...), append(want, adu)
	}
	for name, r := range map[string]io.Reader{
		"whole": bytes.NewReader(stream), "a byte at a time": iotest.OneByteReader(bytes.NewReader(stream)),
		"data with the end": iotest.DataErrReader(bytes.NewReader(stream)),
	} {
		var got [][]byte
		for {
			adu, err := link.ReadADU(r)
			if err == io.EOF && len(adu) == 0 {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			got = append(got, adu)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

func TestReadADURefusesWhatIsNoFrame(t *testing.T) {
	for text, want := range map[string]error{
		"00 01 00 00 00 01 FF":       link.ErrMalformed, // unit and no function
		"00 01 00 00 00 00 FF":       link.ErrMalformed,
		"00 01 00 00 00 FF FF":       link.ErrMalformed, // 261 bytes in all; 260 are the most
		"00 01 00 01 00 06 FF":       link.ErrMalformed, // another protocol
		"47 45 54 20 2F 20 48":       link.ErrMalformed, // "GET / H"
		"00 01 00 00 00 06 FF 05 00": io.ErrUnexpectedEOF,
		"00 01 00":                   io.ErrUnexpectedEOF,
		"":                           io.EOF,
	} {
		b := unhex(t, text)
		got, err := link.ReadADU(bytes.NewReader(b))
		if !errors.Is(err, want) || !bytes.Equal(got, b) {
			t.Errorf("ReadADU(%s) = % X, %v; want all bytes and %v", text, got, err, want)
		}
	}
}

func FuzzReadADU(f *testing.F) {
	for _, row := range table(f, "modbus_tcp_adu_computed.csv") {
		f.Add(unhex(f, row["adu_hex"]))
	}
	f.Fuzz(func(t *testing.T, stream []byte) {
		r := bytes.NewReader(stream)
		var joined []byte
		for {
			adu, err := link.ReadADU(r)
			joined = append(joined, adu...)
			if len(adu) > 260 {
				t.Fatalf("a frame of %d bytes", len(adu))
			}
			if err != nil {
				if _, bad := link.ParseRequest(adu); errors.Is(err, io.ErrUnexpectedEOF) && bad == nil {
					t.Errorf("a cut frame % X was read as whole", adu)
				}
				break
			}
			req, err := link.ParseRequest(adu)
			if err != nil {
				t.Fatalf("ReadADU took % X and ParseRequest did not: %v", adu, err)
			}
			if req.Address < -1 || req.Address > 65535 || len(req.Values) > 1968 {
				t.Errorf("% X: %+v", adu, req)
			}
		}
		if !bytes.HasPrefix(stream, joined) {
			t.Errorf("read % X of % X", joined, stream)
		}
	})
}
