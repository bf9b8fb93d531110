package report

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"

	"golang.org/x/crypto/ssh"
)

// checkPrincipal refuses names that would need quoting in allowed_signers or on
// a command line, or that would be patterns there.
func checkPrincipal(name string) error {
	if name == "" {
		return errors.New("report: signer: no principal")
	}
	for i, r := range name {
		ok := r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '@' || i > 0 && strings.ContainsRune("._+-", r)
		if !ok {
			return fmt.Errorf("report: signer: principal %q: only letters, digits and @ . _ + -, not beginning with the last four", name)
		}
	}
	return nil
}

// AllowedSigner returns the line of an allowed_signers file (ssh-keygen(1)) that
// lets a key sign reports as principal.
func AllowedSigner(principal string, key ssh.PublicKey) []byte {
	return fmt.Appendf(nil, "%s namespaces=\"%s\" %s", principal, Namespace, ssh.MarshalAuthorizedKey(key))
}

// An allowedSigner is a line of an allowed_signers file.
type allowedSigner struct {
	principals []string
	key        ssh.PublicKey
}

// parseSigners reads an allowed_signers file. It knows plain principals, each a
// whole name, and the option namespaces; a line with anything else is an error,
// since passing over a restriction would trust too much.
func parseSigners(text []byte) ([]allowedSigner, error) {
	var all []allowedSigner
	n := 0
	for line := range bytes.Lines(text) {
		n++
		line = bytes.TrimSpace(line)
		if len(line) == 0 || line[0] == '#' {
			continue
		}
		s, here, err := parseSigner(line)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n, err)
		}
		if here {
			all = append(all, s)
		}
	}
	return all, nil
}

// parseSigner reads a line; here is false when it is for other namespaces.
func parseSigner(line []byte) (s allowedSigner, here bool, err error) {
	names, rest, ok := bytes.Cut(line, []byte(" "))
	if !ok || bytes.ContainsAny(names, `"*?!`) {
		return allowedSigner{}, false, fmt.Errorf("principals %q: must be plain names before a key", names)
	}
	key, _, options, more, err := ssh.ParseAuthorizedKey(rest)
	if err != nil {
		return allowedSigner{}, false, fmt.Errorf("key: %w", err)
	}
	if len(more) > 0 {
		return allowedSigner{}, false, errors.New("key: more than one")
	}
	here = true
	for _, o := range options {
		list, ok := strings.CutPrefix(o, `namespaces="`)
		if !ok || !strings.HasSuffix(list, `"`) {
			return allowedSigner{}, false, fmt.Errorf("option %q: not supported", o)
		}
		here = slices.Contains(strings.Split(strings.TrimSuffix(list, `"`), ","), Namespace)
	}
	return allowedSigner{strings.Split(string(names), ","), key}, here, nil
}

// allowed reports whether the key may sign as principal.
func allowed(signers []allowedSigner, principal string, key ssh.PublicKey) bool {
	return slices.ContainsFunc(signers, func(s allowedSigner) bool {
		return slices.Contains(s.principals, principal) && bytes.Equal(s.key.Marshal(), key.Marshal())
	})
}

// addSigner adds a line to an allowed_signers file that has it not yet.
func addSigner(text []byte, principal string, key ssh.PublicKey) []byte {
	line := AllowedSigner(principal, key)
	for have := range bytes.Lines(text) {
		if bytes.Equal(bytes.TrimRight(have, "\r\n"), bytes.TrimRight(line, "\n")) {
			return text
		}
	}
	if len(text) > 0 && !bytes.HasSuffix(text, []byte("\n")) {
		text = append(slices.Clip(text), '\n')
	}
	return append(slices.Clip(text), line...)
}
