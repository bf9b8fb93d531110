package main

import (
	"io"
	"net"
	"os"
	"strings"
	"testing"
	"time"
)

// testDeps are deps without a terminal and without an environment.
func testDeps() deps {
	return newDeps(strings.NewReader(""), io.Discard, os.Stderr, func(string) string { return "" }, time.Now)
}

// freeAddress is a loopback address that nobody listens on.
func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

// missingPackage skips a check whose outside peer is not there; under CI that
// is a failure.
func missingPackage(t *testing.T, debian string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("needs the Debian package %s", debian)
	}
	t.Skipf("needs the Debian package %s", debian)
}
