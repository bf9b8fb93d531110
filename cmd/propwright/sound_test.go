package main

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"propwright/checklist"
)

// readWave reads a file with the wave module of Python's own library and prints
// its form and the stretches that sound: length in seconds, and pitch in hertz from
// the zero crossings.
const readWave = `
import json, struct, sys, wave
w = wave.open(sys.argv[1])
n = w.getnframes()
x = struct.unpack("<%dh" % n, w.readframes(n))
tones, start, last = [], None, None
for i, v in enumerate(list(x) + [0] * w.getframerate()):
    if v != 0:
        start = i if start is None else start
        last = i
    elif start is not None and i - last > 100:
        part = x[start:last + 1]
        crossings = sum(1 for a, b in zip(part, part[1:]) if a < 0 <= b or b < 0 <= a)
        seconds = len(part) / w.getframerate()
        tones.append([seconds, crossings / 2 / seconds])
        start = None
print(json.dumps({"channels": w.getnchannels(), "bytes": w.getsampwidth(), "rate": w.getframerate(), "peak": max(map(abs, x)), "tones": tones}))
`

type heard struct {
	Channels, Bytes, Rate, Peak int
	Tones                       [][2]float64
}

func listenTo(t *testing.T, file string) (h heard) {
	t.Helper()
	python, err := exec.LookPath("python3")
	if err != nil {
		missingPackage(t, "python3")
	}
	out, err := exec.Command(python, "-c", readWave, file).CombinedOutput()
	if err != nil {
		t.Fatalf("python3 reading %s: %v\n%s", file, err, out)
	}
	if err := json.Unmarshal(out, &h); err != nil {
		t.Fatal(err)
	}
	return h
}

// The pitches and lengths wanted are those that sound.go's own comment promises:
// good rises, bad is low and long three times, need-you knocks twice at one pitch.
func TestTheThreeSoundsAreToldApartByAnotherReader(t *testing.T) {
	dir, err := writeSounds()
	if err != nil {
		t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	const good, bad, need = "good", "bad", "need"
	got := map[string]heard{}
	for _, name := range []string{good, bad, need} {
		h := listenTo(t, filepath.Join(dir, name+".wav"))
		if h.Channels != 1 || h.Bytes != 2 || h.Rate != 16000 || h.Peak < 8000 || h.Peak > 32000 {
			t.Errorf("%s: %+v; want one channel of 16 bit at 16000 Hz, loud and not clipped", name, h)
		}
		got[name] = h
	}
	want := map[string][]float64{good: {880, 1320}, bad: {220, 220, 220}, need: {587, 587}}
	for name, pitches := range want {
		if len(got[name].Tones) != len(pitches) {
			t.Errorf("%s: %d tones, want %d", name, len(got[name].Tones), len(pitches))
			continue
		}
		for i, p := range pitches {
			if hz := got[name].Tones[i][1]; math.Abs(hz-p) > p/20 {
				t.Errorf("%s: tone %d at %.0f Hz, want %.0f within 5 %%", name, i+1, hz, p)
			}
		}
	}
	for _, tone := range got[bad].Tones {
		if tone[0] < 1.5*got[need].Tones[0][0] {
			t.Errorf("bad: a tone of %.3f s, want clearly longer than the knock of %.3f s", tone[0], got[need].Tones[0][0])
		}
	}
}

// A bellBox counts bells; it is safe for concurrent use.
type bellBox struct {
	mu   sync.Mutex
	text strings.Builder
	rung chan struct{}
}

func (b *bellBox) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.text.Write(p)
	b.rung <- struct{}{}
	return len(p), nil
}

// Without a player, and with one that does not work, the bell rings: once for
// good, twice for wanted, three times for bad.
func TestBellsStandInForAPlayer(t *testing.T) {
	for name, look := range map[string]func(string) (string, error){
		"no player":     func(string) (string, error) { return "", exec.ErrNotFound },
		"broken player": func(string) (string, error) { return "/nowhere/player", nil },
	} {
		t.Run(name, func(t *testing.T) {
			for s, want := range map[checklist.Sound]int{checklist.SoundGood: 1, checklist.SoundNeed: 2, checklist.SoundBad: 3} {
				box := &bellBox{rung: make(chan struct{}, 9)}
				over := make(chan struct{})
				l := newLoudspeaker(box, look, func(d time.Duration) {
					if d > bellGap {
						close(over)
					}
				})
				l.Play(s)
				<-over
				if err := l.Close(); err != nil {
					t.Error(err)
				}
				if n := strings.Count(box.text.String(), "\a"); n != want || len(box.rung) != want {
					t.Errorf("%s: %d bells, want %d", s, n, want)
				}
			}
		})
	}
}

// The first player on the path is taken, with the words that it needs.
func TestPlayersAreLookedUpInOrder(t *testing.T) {
	for has, want := range map[string]string{
		"paplay aplay": "/bin/paplay it's.wav", "aplay afplay": "/bin/aplay -q it's.wav", "afplay": "/bin/afplay it's.wav",
		"powershell": "/bin/powershell -NoProfile -Command (New-Object Media.SoundPlayer 'it''s.wav').PlaySync()", "": "",
	} {
		command := playerOf(func(name string) (string, error) {
			if strings.Contains(" "+has+" ", " "+name+" ") {
				return "/bin/" + name, nil
			}
			return "", errors.New("not here")
		})
		got := ""
		if command != nil {
			got = strings.Join(command("it's.wav"), " ")
		}
		if got != want {
			t.Errorf("with %q: %q, want %q", has, got, want)
		}
	}
}
