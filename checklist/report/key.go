package report

import (
	"crypto/ed25519"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"

	"golang.org/x/crypto/ssh"
)

// DemoComment is the comment of a key that was made for a demonstration. It is
// kept in the key file, so that such a key is known for what it is wherever it
// turns up.
const DemoComment = "demonstration key, not for real reports"

// mostKeyBytes bounds a key file; an Ed25519 key takes about 400 bytes.
const mostKeyBytes = 64 << 10

// A Key signs reports. The zero value cannot; make one with NewKey or LoadKey.
type Key struct {
	private ed25519.PrivateKey
	Comment string
}

// NewKey makes an Ed25519 key from 32 bytes of random, which must be a secure
// source for any key but a test's. The comment may not hold line ends.
func NewKey(random io.Reader, comment string) (Key, error) {
	if strings.ContainsAny(comment, "\r\n\x00") {
		return Key{}, fmt.Errorf("key comment %q: must be one line", comment)
	}
	seed := make([]byte, ed25519.SeedSize)
	if _, err := io.ReadFull(random, seed); err != nil {
		return Key{}, fmt.Errorf("make key: %w", err)
	}
	return Key{private: ed25519.NewKeyFromSeed(seed), Comment: comment}, nil
}

// Demo reports whether the key was made for a demonstration.
func (k Key) Demo() bool { return k.Comment == DemoComment }

// Public returns the public key; nil for the zero Key.
func (k Key) Public() ssh.PublicKey {
	s, err := k.signer()
	if err != nil {
		return nil
	}
	return s.PublicKey()
}

// ID is the public key's SHA-256 fingerprint as ssh-keygen prints it, "" for the
// zero Key.
func (k Key) ID() string {
	if len(k.private) == 0 {
		return ""
	}
	return ssh.FingerprintSHA256(k.Public())
}

func (k Key) signer() (ssh.Signer, error) {
	if len(k.private) != ed25519.PrivateKeySize {
		return nil, errors.New("key: none given")
	}
	return ssh.NewSignerFromSigner(k.private)
}

// LoadKey reads an Ed25519 key in OpenSSH's private key format. A key with a
// passphrase is refused, and so, where the system has such modes, is a file that
// others may read.
func LoadKey(path string) (Key, error) {
	f, err := os.Open(path)
	if err != nil {
		return Key{}, fmt.Errorf("key: %w", err)
	}
	defer f.Close() // only read from
	info, err := f.Stat()
	if err != nil {
		return Key{}, fmt.Errorf("key: %w", err)
	}
	if mode := info.Mode().Perm(); runtime.GOOS != "windows" && mode&0o077 != 0 {
		return Key{}, fmt.Errorf("key %q: mode %04o lets others read it, must be 0600", path, mode)
	}
	text, err := io.ReadAll(io.LimitReader(f, mostKeyBytes))
	if err != nil {
		return Key{}, fmt.Errorf("key: %w", err)
	}
	k, err := parseKey(text)
	if err != nil {
		return Key{}, fmt.Errorf("key %q: %w", path, err)
	}
	return k, nil
}

func parseKey(text []byte) (Key, error) {
	raw, err := ssh.ParseRawPrivateKey(text)
	if _, locked := errors.AsType[*ssh.PassphraseMissingError](err); locked {
		return Key{}, errors.New("has a passphrase, which is not supported")
	}
	if err != nil {
		return Key{}, err
	}
	private, ok := raw.(*ed25519.PrivateKey)
	if !ok {
		return Key{}, fmt.Errorf("is a %T, must be Ed25519", raw)
	}
	return Key{private: *private, Comment: keyComment(text)}, nil
}

// keyComment digs the comment out of a key file that has been parsed before;
// x/crypto reads past it. The layout is that of openssh-portable, PROTOCOL.key.
func keyComment(text []byte) string {
	block, _ := pem.Decode(text)
	const magic = "openssh-key-v1\x00"
	if block == nil || !strings.HasPrefix(string(block.Bytes), magic) {
		return ""
	}
	var outer struct {
		Cipher, KDF, KDFOptions string
		Keys                    uint32
		Public, Private         []byte
	}
	var inner struct {
		Check1, Check2  uint32
		Type            string
		Public, Private []byte
		Comment         string
		Padding         []byte `ssh:"rest"`
	}
	if ssh.Unmarshal(block.Bytes[len(magic):], &outer) != nil || ssh.Unmarshal(outer.Private, &inner) != nil {
		return ""
	}
	return inner.Comment
}

// SaveKey writes the key to a new file that only its owner may read. A file that
// is there already is never written over.
func SaveKey(path string, k Key) error {
	if _, err := k.signer(); err != nil {
		return err
	}
	block, err := ssh.MarshalPrivateKey(k.private, k.Comment)
	if err != nil {
		return fmt.Errorf("key: encode: %w", err)
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("key: %w", err)
	}
	_, err = f.Write(pem.EncodeToMemory(block))
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("key: %w", errors.Join(err, os.Remove(path)))
	}
	return nil
}
