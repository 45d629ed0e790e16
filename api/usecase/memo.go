package usecase

import "sync"

// Memo is what was last made of what people noted, made anew when that grew. Who reads it changes nothing in
// it.
type Memo[T any] struct {
	mu    sync.Mutex // guards the fields below; held while it is made, so that one makes it for all
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
	m.mu.Lock()
	defer m.mu.Unlock()
	now := noted() // before it is made: what is noted meanwhile has it made again
	if m.known && m.at == now {
		return m.value, nil
	}
	value, err := make()
	m.known, m.at, m.value = err == nil, now, value
	return value, err
}
