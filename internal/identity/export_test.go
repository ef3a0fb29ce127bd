package identity

import "context"

// Occupy takes every slot of the hasher until the release is called.
func (h *Hasher) Occupy(slots int64) (release func(), err error) {
	if err := h.slots.Acquire(context.Background(), slots); err != nil {
		return nil, err
	}
	return func() { h.slots.Release(slots) }, nil
}
