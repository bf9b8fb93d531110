package link

import (
	"encoding/hex"
	"testing"
)

// The worked example of RFC 1071, section 3: the sum of 0001 f203 f4f5 f6f7 is ddf2.
func TestInternetChecksum(t *testing.T) {
	b, err := hex.DecodeString("0001f203f4f5f6f7")
	if err != nil {
		t.Fatal(err)
	}
	if got := ^internetChecksum(b); got != 0xDDF2 {
		t.Errorf("sum %04X, want DDF2", got)
	}
}

// An echo reply is the request with type 0 (RFC 792), of the same sequence number, whole.
func TestEchoedIsTheRequestSentBack(t *testing.T) {
	reply := echoRequest(0x1234, 7)
	if reply[0] != 8 || internetChecksum(reply) != 0 {
		t.Fatalf("request % X", reply)
	}
	if echoed(reply, 7) {
		t.Error("a request was taken for its reply")
	}
	reply[0] = 0
	reply[2] += 8 // type 8 less in the first word is 0800 more in the checksum
	if !echoed(reply, 7) || echoed(reply, 8) || echoed(reply[:7], 7) {
		t.Errorf("reply % X", reply)
	}
	reply[5]++
	if echoed(reply, 7) {
		t.Error("a broken reply was taken")
	}
}
