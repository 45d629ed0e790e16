package usecase

import "sync"

// Memo is what was last made of what people noted, made anew when that grew. Who reads it changes nothing in
// it. Two that ask at once may both make it: nobody waits for what another reads from the store.
type Memo[T any] struct {
	mu    sync.Mutex // guards the fields below, and is not held while it is made
	known bool
	at    uint64
	value T
}

// Of gives what make makes, kept since the last time where nothing was noted meanwhile. An error is not kept,
// and with noted nil nothing is.
func (m *Memo[T]) Of(noted func() uint64, make func() (T, error)) (T, error) {
	if noted == nil {
		return make()
	}
	now := noted() // before it is made: what is noted meanwhile has it made again
	if value, ok := m.of(now); ok {
		return value, nil
	}
	value, err := make()
	if err != nil {
		return value, err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.known || m.at <= now { // another may have made a newer one meanwhile
		m.known, m.at, m.value = true, now, value
	}
	return value, nil
}

// of gives what is kept, if it was made of what is noted up to now.
func (m *Memo[T]) of(now uint64) (value T, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.value, m.known && m.at == now
}
