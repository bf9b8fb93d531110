package report

import (
	"bytes"
	"encoding/csv"
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"
)

// tables holds vectors from the specifications, each with its source beside it.
const tables = "../../testdata/tables/"

func table(t *testing.T, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(tables, name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// keyOf is the key with an RFC 8032 seed.
func keyOf(t *testing.T, seedHex string) Key {
	t.Helper()
	seed, err := hex.DecodeString(seedHex)
	if err != nil {
		t.Fatal(err)
	}
	k, err := NewKey(bytes.NewReader(seed), "")
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// rows reads a table with a header line.
func rows(t *testing.T, name string) [][]string {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(table(t, name)))
	r.Comment = '#'
	all, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return all[1:]
}

// RFC 8032, section 7.1, TEST 1 to 3: public key and signature from the seed.
func TestKeySignsAsRFC8032Says(t *testing.T) {
	for _, row := range rows(t, "rfc8032_ed25519.csv") {
		test, seed, public, message, want := row[0], row[1], row[2], row[3], row[4]
		k := keyOf(t, seed)
		// The wire form of an ssh-ed25519 key ends in its 32 bytes (RFC 8709, 4).
		if got := hex.EncodeToString(k.Public().Marshal()); !strings.HasSuffix(got, public) {
			t.Errorf("TEST %s: public key %s; want %s at its end", test, got, public)
		}
		raw, err := hex.DecodeString(message)
		if err != nil {
			t.Fatal(err)
		}
		signer, err := k.signer()
		if err != nil {
			t.Fatal(err)
		}
		sig, err := signer.Sign(nil, raw)
		if err != nil {
			t.Fatal(err)
		}
		if got := hex.EncodeToString(sig.Blob); got != want {
			t.Errorf("TEST %s: signature %s, want %s", test, got, want)
		}
	}
}

// The full SSHSIG vector, which ssh-keygen -Y sign makes byte for byte too.
func TestSignIsByteIdenticalToTheVector(t *testing.T) {
	k := keyOf(t, rows(t, "rfc8032_ed25519.csv")[0][1])
	want := table(t, "sshsig_rfc8032key_abc_file.sig")
	got, err := signIn(k, table(t, "sshsig_message_abc.bin"), "file")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("signature:\n%s\nwant:\n%s", got, want)
	}
	// The key's fingerprint as ssh-keygen -l prints it.
	if want := "SHA256:bbXpuKG6zhzdmnxq256TlqzFBzRl2f6OOg722cYNbU8"; k.ID() != want {
		t.Errorf("ID() = %s, want %s", k.ID(), want)
	}
	line := strings.Fields(string(table(t, "sshsig_rfc8032key.pub")))
	if got := strings.Fields(string(ssh.MarshalAuthorizedKey(k.Public()))); got[1] != line[1] {
		t.Errorf("public key %s, want %s", got[1], line[1])
	}
	if _, err := checkSignature(want, []byte("abc"), "file"); err != nil {
		t.Errorf("the vector is refused: %v", err)
	}
}

func TestCheckSignatureRefuses(t *testing.T) {
	vector := table(t, "sshsig_rfc8032key_abc_file.sig")
	tests := map[string]struct {
		armoured  []byte
		message   string
		namespace string
		want      string
	}{
		"another message":   {vector, "abd", "file", "does not fit"},
		"another namespace": {vector, "abc", Namespace, `namespace "file"`},
		// It lacks the field for the hash; ssh-keygen says "invalid format".
		"the example of PROTOCOL.sshsig": {table(t, "sshsig_protocol_example_INVALID.sig"), "abc", "foo", "not an SSH signature"},
		"nothing":                        {nil, "abc", "file", "not an SSH signature"},
		"lines of 64":                    {rewrap(vector, 64), "abc", "file", "armour"},
		"text before":                    {append([]byte("hello\n"), vector...), "abc", "file", "armour"},
		"text after":                     {append(bytes.Clone(vector), "hello\n"...), "abc", "file", "armour"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			if _, err := checkSignature(tt.armoured, []byte(tt.message), tt.namespace); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("checkSignature = %v; want an error with %q", err, tt.want)
			}
		})
	}
}

func rewrap(armoured []byte, columns int) []byte {
	lines := strings.Split(strings.TrimSpace(string(armoured)), "\n")
	text := strings.Join(lines[1:len(lines)-1], "")
	b := armourBegin
	for len(text) > 0 {
		n := min(columns, len(text))
		b += text[:n] + "\n"
		text = text[n:]
	}
	return []byte(b + armourEnd)
}

// Base64 and armour can be written in more than one way; none but one is taken.
func TestCheckSignatureFindsEveryChangedBit(t *testing.T) {
	vector := table(t, "sshsig_rfc8032key_abc_file.sig")
	for i := range vector {
		for bit := range 8 {
			changed := bytes.Clone(vector)
			changed[i] ^= 1 << bit
			if _, err := checkSignature(changed, []byte("abc"), "file"); err == nil {
				t.Errorf("byte %d from %q to %q: accepted", i, vector[i], changed[i])
			}
		}
	}
}

func FuzzCheckSignature(f *testing.F) {
	for _, name := range []string{"sshsig_rfc8032key_abc_file.sig", "sshsig_protocol_example_INVALID.sig"} {
		b, err := os.ReadFile(filepath.Join(tables, name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	vector, err := os.ReadFile(filepath.Join(tables, "sshsig_rfc8032key_abc_file.sig"))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, armoured []byte) {
		if _, err := checkSignature(armoured, []byte("abc"), "file"); err == nil && !bytes.Equal(armoured, vector) {
			t.Errorf("accepted another form of the vector: %q", armoured)
		}
	})
}
