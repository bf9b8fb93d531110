//go:build linux || darwin

package serialtest

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"github.com/creack/pty"
	"golang.org/x/term"
)

// A Pty is a pseudo-terminal with the test on the board's side. Its path is a link
// that follows when the board is plugged in again under another number.
type Pty struct {
	Path string // to open

	mu    sync.Mutex
	board *os.File
}

// NewPty makes one, plugged in, with its link in the folder dir.
func NewPty(dir string) (*Pty, error) {
	p := &Pty{Path: filepath.Join(dir, "board")}
	return p, p.Plug()
}

// Plug makes a new pseudo-terminal and points the link to it.
func (p *Pty) Plug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.board != nil {
		return errors.New("pty: plugged in already")
	}
	board, host, err := pty.Open()
	if err != nil {
		return fmt.Errorf("pty: %w", err)
	}
	// The reader of the line opens it by path; a handle kept here would hide that.
	name := host.Name()
	// What is printed before somebody opens it must not be edited or echoed.
	_, err = term.MakeRaw(int(host.Fd()))
	if err := errors.Join(err, host.Close()); err != nil {
		return errors.Join(err, board.Close())
	}
	fresh := p.Path + ".new"
	if err := os.Symlink(name, fresh); err != nil {
		return errors.Join(err, board.Close())
	}
	if err := os.Rename(fresh, p.Path); err != nil {
		return errors.Join(err, board.Close())
	}
	p.board = board
	return nil
}

// Unplug hangs the line up. What the host has not read by then is lost, so a test
// waits for its bytes first. The link is taken away too: the number may be given
// to somebody else at once.
func (p *Pty) Unplug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.board == nil {
		return nil
	}
	err := errors.Join(os.Remove(p.Path), p.board.Close())
	p.board = nil
	return err
}

// Write is what the board prints.
func (p *Pty) Write(b []byte) (int, error) {
	p.mu.Lock()
	board := p.board
	p.mu.Unlock()
	if board == nil {
		return 0, errors.New("pty: not plugged in")
	}
	return board.Write(b)
}

// Board is the board's side of the line, for what Write does not do.
func (p *Pty) Board() *os.File {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.board
}
