package virtual

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// imageVersion is the version of the image's format: one JSON object.
const imageVersion = 1

// imageLimit is far more than a full list takes.
const imageLimit = 64 << 10

// cardLimit is how many cards the board can store.
const cardLimit = 24

// memory is what a board keeps without power.
type memory struct {
	Version int   `json:"virtual_board_memory"`
	Master  uid   `json:"master"`
	Cards   []uid `json:"cards"` // in the order of adding
	// More are the lists of the readers from index 1 on, where each has its own.
	More []list `json:"more,omitempty"`

	path string // "" when it is kept by the board alone
}

// A list is a master and its cards.
type list struct {
	Master uid   `json:"master"`
	Cards  []uid `json:"cards"` // in the order of adding
}

// kept points at one master and its cards.
type kept struct {
	Master *uid
	Cards  *[]uid
}

// list is one of the lists, as a copy.
func (m *memory) list(i int) list {
	k := m.at(i)
	return list{*k.Master, *k.Cards}
}

// at is where one of the lists is kept.
func (m *memory) at(i int) kept {
	if i == 0 {
		return kept{&m.Master, &m.Cards}
	}
	return kept{&m.More[i-1].Master, &m.More[i-1].Cards}
}

// wipe forgets every master and card.
func (m *memory) wipe() {
	for i := range len(m.More) + 1 {
		k := m.at(i)
		*k.Master, *k.Cards = "", []uid{}
	}
}

// left is what a board holds that comes from another prop.
var left = list{Master: "04D9137A2C6B80", Cards: []uid{"3FA0C816", "B1447E02", "04E85519AA3C81"}}

// openMemory reads the image at path, or makes a fresh memory where there is none,
// which holds first in each of its lists. It has as many lists as the firmware
// keeps.
func openMemory(path string, first list, lists int) (*memory, error) {
	m, err := readMemory(path)
	if err != nil {
		return nil, err
	}
	fresh := m == nil
	if fresh {
		m = &memory{Version: imageVersion, Cards: []uid{}, path: path}
	}
	for len(m.More) < lists-1 {
		m.More = append(m.More, list{Cards: []uid{}})
	}
	if !fresh {
		return m, nil
	}
	for i := range lists {
		*m.at(i).Master, *m.at(i).Cards = first.Master, append([]uid{}, first.Cards...)
	}
	return m, m.save()
}

// readMemory is nil where no image is there.
func readMemory(path string) (*memory, error) {
	if path == "" {
		return nil, nil
	}
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("memory image: %w", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, imageLimit+1))
	if err != nil {
		return nil, fmt.Errorf("memory image %q: %w", path, err)
	}
	m, err := decodeMemory(data)
	if err != nil {
		return nil, fmt.Errorf("memory image %q: %w", path, err)
	}
	m.path = path
	return m, nil
}

// decodeMemory reads an image and refuses what no board can have written.
func decodeMemory(data []byte) (*memory, error) {
	if len(data) > imageLimit {
		return nil, fmt.Errorf("more than %d bytes", imageLimit)
	}
	m := &memory{}
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(m); err != nil {
		return nil, err
	}
	if m.Version != imageVersion {
		return nil, fmt.Errorf("version %d: this program knows version %d", m.Version, imageVersion)
	}
	if len(m.More) >= mostReaders {
		return nil, fmt.Errorf("%d lists, a board keeps %d at most", len(m.More)+1, mostReaders)
	}
	for i := range len(m.More) + 1 {
		if err := m.at(i).check(); err != nil {
			return nil, err
		}
	}
	return m, nil
}

func (k kept) check() error {
	if len(*k.Cards) > cardLimit {
		return fmt.Errorf("%d cards, a board holds %d at most", len(*k.Cards), cardLimit)
	}
	for _, u := range append([]uid{*k.Master}, *k.Cards...) {
		if clean, err := parseUID(string(u)); u != "" && (err != nil || clean != u) {
			return fmt.Errorf("uid %q: not as the board writes it", u)
		}
	}
	if slices.Contains(*k.Cards, "") {
		return errors.New("a card without identity")
	}
	if *k.Cards == nil {
		*k.Cards = []uid{}
	}
	return nil
}

func (m *memory) encode() ([]byte, error) {
	data, err := json.MarshalIndent(m, "", "  ")
	return append(data, '\n'), err
}

// save writes the image so that it is whole at any moment.
func (m *memory) save() (err error) {
	if m.path == "" {
		return nil
	}
	data, err := m.encode()
	if err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(m.path), filepath.Base(m.path)+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.Remove(f.Name()))
		}
	}()
	if _, err = f.Write(data); err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), m.path)
}
