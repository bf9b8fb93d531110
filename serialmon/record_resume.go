package serialmon

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
)

// soundRows reads a file of arrivals that a run left behind, for a console of the
// given size. It returns up to where the file can be kept: a last line without its
// end, and rows for bytes that never reached the disk, are what a sudden end
// leaves. It returns the last time on record too. A file that is something else
// is an error, so that it is not overwritten.
func soundRows(in io.Reader, size int64) (keep int64, last time.Time, err error) {
	lines := bufio.NewReader(in)
	for n := 1; ; n++ {
		text, err := lines.ReadString('\n')
		if errors.Is(err, io.EOF) {
			if n == 1 && text != "" && !strings.HasPrefix("offset,time\n", text) {
				return 0, time.Time{}, notArrivals(text)
			}
			return keep, last, nil
		}
		if err != nil {
			return 0, time.Time{}, err
		}
		row := strings.TrimRight(text, "\r\n")
		if n == 1 {
			if row != "offset,time" {
				return 0, time.Time{}, notArrivals(row)
			}
		} else {
			offset, at, ok := rowEnd(row)
			if ok && offset >= size {
				return keep, last, nil
			}
			if ok {
				last = at
			}
		}
		keep += int64(len(text))
	}
}

// rowEnd returns a row's offset and time; for a gap its end and no offset. What is
// neither is not ok, and kept for whoever reads the capture to complain of.
func rowEnd(row string) (offset int64, at time.Time, ok bool) {
	if rest, gap := strings.CutPrefix(row, "# gap "); gap {
		_, to, _ := strings.Cut(rest, " ")
		at, err := time.Parse(time.RFC3339Nano, to)
		return -1, at, err == nil
	}
	first, second, _ := strings.Cut(row, ",")
	offset, err := strconv.ParseInt(first, 10, 64)
	if err != nil {
		return 0, time.Time{}, false
	}
	at, err = time.Parse(time.RFC3339Nano, second)
	return offset, at, err == nil
}

func notArrivals(text string) error {
	const most = 40
	if len(text) > most {
		text = text[:most]
	}
	return fmt.Errorf("%s: begins with %q, want %q", ArrivalsFile, text, "offset,time")
}
