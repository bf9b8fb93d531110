package main

import (
	"context"
	"errors"
	"sync"

	"propwright/serialmon"
)

// A portBoard is the board at a serial port, as the checklist needs it.
type portBoard struct {
	options serialmon.Options
	auto    bool // find the speed when the port is opened

	mu      sync.Mutex
	session *serialmon.Session
	device  *serialmon.Device // behind the port when it was last opened; nil before
}

var errNotAttached = errors.New("port is not open")

// Attach opens the port unless it is open; a port that was let go is opened under
// the name that its device has by now. The session outlives ctx, which may be that
// of a single step; Detach ends it.
func (b *portBoard) Attach(ctx context.Context) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.session != nil {
		return b.session.Err() // nil while it lives, also while the port is away
	}
	ports, err := serialmon.ListPorts()
	if err != nil {
		ports = nil // then a port has nothing but its name
	}
	if b.device != nil {
		name, found := b.device.Find(ports)
		if !found {
			return &serialmon.OpenError{Name: b.options.Name, Reason: serialmon.ReasonMissing, Detail: "its adapter is not plugged in", Hint: "plug the board in where it was"}
		}
		b.options.Name = name
	}
	device := serialmon.DeviceAt(b.options.Name, ports)
	session, err := serialmon.Attach(context.WithoutCancel(ctx), b.options)
	if err != nil {
		return err
	}
	b.session, b.device = session, &device
	if !b.auto {
		return nil
	}
	guess, err := session.LikelySpeed(ctx)
	if err != nil || guess.Baud == 0 {
		return err // no speed found: the attach step sees that for itself
	}
	return session.SetSpeed(ctx, guess.Baud)
}

// Detach lets the port go.
func (b *portBoard) Detach() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.session == nil {
		return nil
	}
	err := b.session.Close()
	b.session = nil
	return err
}

func (b *portBoard) open() (*serialmon.Session, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.session == nil {
		return nil, errNotAttached
	}
	return b.session, nil
}

// Reset restarts the board by its modem lines, or by closing and reopening.
func (b *portBoard) Reset(ctx context.Context) error {
	s, err := b.open()
	if err != nil {
		return err
	}
	return s.Reset(ctx)
}

// LikelySpeed listens at the common speeds.
func (b *portBoard) LikelySpeed(ctx context.Context) (int, error) {
	s, err := b.open()
	if err != nil {
		return 0, err
	}
	guess, err := s.LikelySpeed(ctx)
	return guess.Baud, err
}

// awaitLost waits until the session has seen that the port is away.
func (b *portBoard) awaitLost(ctx context.Context) error {
	s, err := b.open()
	if err != nil {
		return nil // nothing was open
	}
	return s.Await(ctx, false)
}
