package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"propwright/checklist"
)

// A speaker makes sounds heard, without keeping anybody waiting.
type speaker interface {
	Play(checklist.Sound)
}

// silence plays nothing, as into a file.
type silence struct{}

// Play does nothing.
func (silence) Play(checklist.Sound) {}

// A loudspeaker plays sound files through whatever player the system has, and
// rings the terminal's bell where there is none or it does not work. What goes
// wrong with a sound is never an error of the run.
type loudspeaker struct {
	queue chan checklist.Sound
	done  chan struct{}
	bell  io.Writer
	sleep func(time.Duration)
	play  func(context.Context, checklist.Sound) error // nil rings the bell only
	stop  context.CancelFunc
	dir   string
}

// bellGap is how far apart bells must be to be heard as several; terminals merge
// what comes at once. From experience, no source.
const bellGap = 180 * time.Millisecond

// mostPlay ends a player that hangs.
const mostPlay = 3 * time.Second

// newLoudspeaker looks for a player with look, as exec.LookPath does, and puts the
// sound files into a folder of their own, which Close removes.
func newLoudspeaker(bell io.Writer, look func(string) (string, error), sleep func(time.Duration)) *loudspeaker {
	ctx, stop := context.WithCancel(context.Background())
	l := &loudspeaker{queue: make(chan checklist.Sound, 4), done: make(chan struct{}), bell: bell, sleep: sleep, stop: stop}
	if command := playerOf(look); command != nil {
		if dir, err := writeSounds(); err == nil {
			l.dir = dir
			l.play = func(ctx context.Context, s checklist.Sound) error {
				argv := command(filepath.Join(dir, string(s)+".wav"))
				return exec.CommandContext(ctx, argv[0], argv[1:]...).Run()
			}
		}
	}
	go l.run(ctx)
	return l
}

// playerOf finds a player; nil when there is none.
func playerOf(look func(string) (string, error)) func(file string) []string {
	for _, p := range []struct {
		name string
		args func(file string) []string
	}{
		{"paplay", func(f string) []string { return []string{f} }},
		{"aplay", func(f string) []string { return []string{"-q", f} }},
		{"afplay", func(f string) []string { return []string{f} }},
		{"powershell", func(f string) []string {
			quoted := strings.ReplaceAll(f, "'", "''")
			return []string{"-NoProfile", "-Command", fmt.Sprintf("(New-Object Media.SoundPlayer '%s').PlaySync()", quoted)}
		}},
	} {
		if path, err := look(p.name); err == nil {
			return func(file string) []string { return append([]string{path}, p.args(file)...) }
		}
	}
	return nil
}

func writeSounds() (dir string, err error) {
	if dir, err = os.MkdirTemp("", "propwright-sounds-"); err != nil {
		return "", err
	}
	for _, s := range []checklist.Sound{checklist.SoundGood, checklist.SoundBad, checklist.SoundNeed} {
		err = errors.Join(err, os.WriteFile(filepath.Join(dir, string(s)+".wav"), wav(tonesOf(s)), 0o600))
	}
	if err != nil {
		return "", errors.Join(err, os.RemoveAll(dir))
	}
	return dir, nil
}

// Play has a sound played soon. Where sounds come faster than they can be played,
// those that come last are left out.
func (l *loudspeaker) Play(s checklist.Sound) {
	select {
	case l.queue <- s:
	default:
	}
}

// run plays what is asked for until ctx ends.
func (l *loudspeaker) run(ctx context.Context) {
	defer close(l.done)
	for {
		select {
		case <-ctx.Done():
			return
		case s := <-l.queue:
			l.one(ctx, s)
		}
	}
}

// one plays a sound, or rings. A player that does not work once is not tried again.
func (l *loudspeaker) one(ctx context.Context, s checklist.Sound) {
	if l.play != nil {
		bounded, cancel := context.WithTimeout(ctx, mostPlay)
		err := l.play(bounded, s)
		cancel()
		if err == nil || ctx.Err() != nil {
			return
		}
		l.play = nil
	}
	for i := range bellsOf(s) {
		if i > 0 {
			l.sleep(bellGap)
		}
		fmt.Fprint(l.bell, "\a")
	}
	l.sleep(3 * bellGap) // before the next sound, whose bells would be counted with these
}

// Close ends playing and removes the sound files.
func (l *loudspeaker) Close() error {
	l.stop()
	<-l.done
	if l.dir == "" {
		return nil
	}
	return os.RemoveAll(l.dir)
}
