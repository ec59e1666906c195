package history

// Turn lets the writer do what is due, if something is and it does not run.
func (s *Store) Turn() {
	select {
	case <-s.wake:
		s.turn()
	default:
	}
}

// CommitUnsealed writes what there is though a block that is over is not sealed yet, as
// when it ends while the file is being opened.
func (s *Store) CommitUnsealed() error {
	s.writing.Lock()
	defer s.writing.Unlock()
	if err := s.attach(); err != nil {
		return err
	}
	return s.commit(s.gather(false))
}
