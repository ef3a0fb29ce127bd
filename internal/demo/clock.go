package demo

import (
	"encoding/binary"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
)

// clock is the time of the history and everything that is random in it.
type clock struct {
	at   time.Time
	dice *rand.Rand
}

func newClock(seed, number uint64) *clock {
	var key [32]byte
	binary.BigEndian.PutUint64(key[:], seed)
	binary.BigEndian.PutUint64(key[8:], number)
	return &clock{dice: rand.New(rand.NewChaCha8(key))}
}

// now is the present moment of the history.
func (c *clock) now() time.Time { return c.at }

// pass lets time go by.
func (c *clock) pass(d time.Duration) { c.at = c.at.Add(d) }

// id makes the next UUIDv7 of the history.
func (c *clock) id() (id uuid.UUID) {
	binary.BigEndian.PutUint64(id[:8], uint64(c.at.UnixMilli())<<16|uint64(c.dice.Uint32()&0xfff)|0x7000)
	binary.BigEndian.PutUint64(id[8:], c.dice.Uint64())
	id[8] = id[8]&0x3f | 0x80
	return id
}

// Read fills p from the dice: one-time passwords of the history, which have long ended.
func (c *clock) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = byte(c.dice.Uint32())
	}
	return len(p), nil
}

// chance tells whether something happens that does so in so many of a hundred cases.
func (c *clock) chance(percent int) bool { return c.dice.IntN(100) < percent }

// between gives a number of [least, greatest), as fine as a technician reads it off.
func (c *clock) between(least, greatest, step float64) float64 {
	n := int((greatest-least)/step + 0.5)
	return roundTo(least+float64(c.dice.IntN(max(n, 1)))*step, step)
}

func roundTo(v, step float64) float64 {
	perStep := 1 / step
	return float64(int64(v*perStep+0.5)) / perStep
}
