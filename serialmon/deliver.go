package serialmon

// deliver records and hands on what the queue holds, until it is closed and empty.
// After an error it hands on nothing more, but what counts as under way is still
// landed, so that nobody waits for it. It returns that error.
func (s *Session) deliver() (failed error) {
	for {
		it, ok := s.queue.take()
		if !ok {
			return failed
		}
		if failed == nil {
			if failed = s.handOn(it); failed != nil {
				s.cancel(failed)
			}
		}
		landed := len(it.b)
		if it.mark != nil {
			landed++
		}
		// What waits for this item goes on before time can.
		if it.after != nil {
			it.after()
		}
		if landed > 0 {
			s.opt.Clock.Land(landed)
		}
	}
}

// handOn puts an item on record first and then gives it to the sink.
func (s *Session) handOn(it item) error {
	if it.mark != nil {
		return s.handMark(it)
	}
	if len(it.b) == 0 {
		return nil
	}
	offset := s.offset
	s.offset += int64(len(it.b))
	if s.opt.Record != nil {
		var err error
		if offset, err = s.opt.Record.Write(it.b, it.at); err != nil {
			return err
		}
	}
	if err := s.opt.Sink.Bytes(it.b, it.at, offset); err != nil {
		return err
	}
	s.mu.Lock()
	t := s.tap
	s.mu.Unlock()
	if t != nil {
		t.add(it.b)
	}
	return nil
}

func (s *Session) handMark(it item) error {
	m := *it.mark
	m.Offset = s.offset
	if r := s.opt.Record; r != nil {
		m.Offset = r.Offset()
		if it.gap != nil {
			if err := r.Gap(it.gap[0], it.gap[1]); err != nil {
				return err
			}
		}
		if m.Kind == MarkDetached {
			if err := r.Sync(); err != nil {
				return err
			}
		}
	}
	return s.opt.Sink.Mark(m)
}
