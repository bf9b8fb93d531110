package report

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"

	"github.com/hiddeco/sshsig"
	"golang.org/x/crypto/ssh"
)

// Namespace keeps a report's signature from being taken for one of anything else.
const Namespace = "propwright-report"

// armourColumns is where ssh-keygen breaks lines. PROTOCOL.sshsig says 76; what
// OpenSSH 9.2 writes has 70.
const armourColumns = 70

const (
	armourBegin = "-----BEGIN SSH SIGNATURE-----\n"
	armourEnd   = "-----END SSH SIGNATURE-----\n"
)

// Sign returns the armoured SSH signature of a report's bytes (SSHSIG version 1,
// sha512, as openssh-portable's PROTOCOL.sshsig has it), byte for byte what
// ssh-keygen -Y sign would write.
func Sign(k Key, message []byte) ([]byte, error) { return signIn(k, message, Namespace) }

func signIn(k Key, message []byte, namespace string) ([]byte, error) {
	signer, err := k.signer()
	if err != nil {
		return nil, fmt.Errorf("sign: %w", err)
	}
	sig, err := sshsig.Sign(bytes.NewReader(message), signer, sshsig.HashSHA512, namespace)
	if err != nil {
		return nil, fmt.Errorf("sign: %w", err)
	}
	return armour(sig), nil
}

func armour(sig *sshsig.Signature) []byte {
	text := base64.StdEncoding.EncodeToString(sig.Marshal())
	var b bytes.Buffer
	b.WriteString(armourBegin)
	for len(text) > 0 {
		n := min(armourColumns, len(text))
		b.WriteString(text[:n] + "\n")
		text = text[n:]
	}
	b.WriteString(armourEnd)
	return b.Bytes()
}

// checkSignature checks an armoured signature of message and returns the key
// that made it. Whether that key is anybody's is not its concern. The armour must
// be the very bytes that Sign writes, so that no byte of it can be changed unseen.
func checkSignature(armoured, message []byte, namespace string) (ssh.PublicKey, error) {
	sig, err := sshsig.Unarmor(armoured)
	switch {
	case err != nil:
		return nil, fmt.Errorf("not an SSH signature: %w", err)
	case sig.PublicKey.Type() != ssh.KeyAlgoED25519:
		return nil, fmt.Errorf("key type %q: must be %s", sig.PublicKey.Type(), ssh.KeyAlgoED25519)
	case sig.Namespace != namespace:
		return nil, fmt.Errorf("namespace %q: must be %q", sig.Namespace, namespace)
	case sig.HashAlgorithm != sshsig.HashSHA512:
		return nil, fmt.Errorf("hash %q: must be %q", sig.HashAlgorithm, sshsig.HashSHA512)
	case !bytes.Equal(armour(sig), armoured):
		return nil, errors.New("armour differs from the usual form")
	}
	if err := sshsig.Verify(bytes.NewReader(message), sig, sig.PublicKey, sig.HashAlgorithm, namespace); err != nil {
		return nil, fmt.Errorf("does not fit the report: %w", err)
	}
	return sig.PublicKey, nil
}
