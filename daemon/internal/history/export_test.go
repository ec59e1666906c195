package history

// Turn lets the writer do what is due, if something is and it does not run.
func (s *Store) Turn() {
	select {
	case <-s.wake:
		s.turn()
	default:
	}
}
