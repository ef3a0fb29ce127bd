package drills

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"lintel.example/lintel/internal/seal"
)

// thing is a piece of a visit that the program has acknowledged.
type thing struct {
	kind   string // attendance, entry, photo, sign-off
	id     string // of the visit, or of the entry; of a photo its hash
	visit  string
	sha256 string // as acknowledged; of a sign-off that of the signed record
	repair bool   // a finding that must have led to a corrective work order
}

// history is what the writers were told.
type history struct {
	mu           sync.Mutex
	acknowledged map[string]thing // by kind and id
	answers      int              // acknowledgements, those of repetitions too
	found, made  int              // pieces whose first sending got no answer: were there, were not there
	instead      map[string]int   // what came instead of an acknowledgement
	last         time.Time
	longestGap   time.Duration
}

func newHistory() *history {
	return &history{acknowledged: map[string]thing{}, instead: map[string]int{}, last: time.Now()}
}

// acknowledge notes an answer; one that contradicts an earlier one is an error.
func (h *history) acknowledge(th thing, status, attempts int) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.answers++
	h.longestGap, h.last = max(h.longestGap, time.Since(h.last)), time.Now()
	switch {
	case attempts > 1 && status == http.StatusOK:
		h.found++
	case attempts > 1:
		h.made++
	}
	key := th.kind + " " + th.id
	if before, known := h.acknowledged[key]; known && before.sha256 != th.sha256 {
		return fmt.Errorf("%s was acknowledged as %s and then as %s", key, before.sha256, th.sha256)
	}
	h.acknowledged[key] = th
	return nil
}

func (h *history) without(answer string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.instead[answer]++
}

func (h *history) count() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.answers
}

// things lists what was acknowledged, by id: what was made first comes first.
func (h *history) things(kind string) []thing {
	h.mu.Lock()
	defer h.mu.Unlock()
	var list []thing
	for _, th := range h.acknowledged {
		if th.kind == kind {
			list = append(list, th)
		}
	}
	slices.SortFunc(list, func(a, b thing) int { return strings.Compare(a.id, b.id) })
	return list
}

// writers are people who log visits, one after the other, until they are told to go home.
type writers struct {
	home chan struct{}
	wait sync.WaitGroup
	mu   sync.Mutex
	errs []error
}

// startWriters sends so many to work, each at doors of their own and together at one.
func (w *world) startWriters(count int, h *history) *writers {
	all := &writers{home: make(chan struct{})}
	for i := range count {
		one := &writer{world: w, history: h, random: rand.New(rand.NewPCG(2, uint64(i))), doors: []string{w.doors[0].String()}}
		for d := 1 + i; d < len(w.doors); d += count {
			one.doors = append(one.doors, w.doors[d].String())
		}
		all.wait.Go(func() {
			for {
				select {
				case <-all.home:
					return
				default:
				}
				if err := one.logVisit(w.ctx); err != nil {
					all.mu.Lock()
					all.errs = append(all.errs, err)
					all.mu.Unlock()
					return
				}
			}
		})
	}
	return all
}

// finish lets the running visits end.
func (a *writers) finish() []error {
	close(a.home)
	a.wait.Wait()
	return a.errs
}

// writer is one of them.
type writer struct {
	world   *world
	history *history
	random  *rand.Rand
	doors   []string
}

// logVisit logs a visit in pieces that arrive in any order, some of them twice, and signs it off.
func (w *writer) logVisit(ctx context.Context) error {
	visit, door, began := newID(), w.doors[w.random.IntN(len(w.doors))], time.Now().UTC().Truncate(time.Second)
	photo := w.photo()
	photoHash := seal.HashOf(photo).String()
	entry := func(kind string, said object) func() (thing, error) {
		th := thing{kind: "entry", id: newID(), visit: visit, repair: kind == "finding"}
		body := object{"door_id": door, "kind": kind, "observed_at": began, kind: said}
		return func() (thing, error) { return w.putJSON(ctx, th, "/v1/visits/"+visit+"/entries/"+th.id, body) }
	}
	entries := []func() (thing, error){
		entry("safe_work", object{"traffic": "watched", "power": "isolated", "ladder": "not_used", "second_person": "there"}),
		entry("reading", object{"name": "latch_time_s", "value": 2.1}),
		entry("reading", object{"name": "signs_present", "yes": true}),
		entry("photo", object{"sha256": photoHash, "what": "Closer arm"}),
		entry("finding", object{"severity": "deficient", "what": "The closer leaks.", "photos": []string{photoHash}}),
		entry("conclusion", object{"result": "failed"}),
	}
	pieces := append([]func() (thing, error){
		func() (thing, error) { return w.putPhoto(ctx, photoHash, photo) },
		func() (thing, error) {
			return w.putJSON(ctx, thing{kind: "attendance", id: visit, visit: visit}, "/v1/visits/"+visit, object{"site_id": w.world.site, "arrived_at": began,
				"people": []string{w.world.technician.id}, "doors": []object{{"door_id": door}}})
		},
	}, entries...)
	pieces = append(pieces, entries[w.random.IntN(len(entries))])
	w.random.Shuffle(len(pieces), func(i, j int) { pieces[i], pieces[j] = pieces[j], pieces[i] })
	listed := map[string]string{}
	for _, send := range pieces {
		th, err := send()
		if err != nil {
			return err
		}
		if th.kind == "entry" {
			listed[th.id] = th.sha256
		}
	}
	return w.signOff(ctx, visit, began, listed)
}

func (w *writer) signOff(ctx context.Context, visit string, began time.Time, listed map[string]string) error {
	var entries []object
	for id, hash := range listed {
		entries = append(entries, object{"entry_id": id, "sha256": hash})
	}
	_, err := w.putJSON(ctx, thing{kind: "sign-off", id: visit, visit: visit}, "/v1/visits/"+visit+"/sign-off", object{"signed_at": began.Add(time.Second),
		"left_at": began.Add(time.Second), "entries": entries, "statement": "Inspected as recorded here.", "signature": "M 0 0 L 9 9"})
	return err
}

// photo makes bytes that begin like a PNG (RFC 2083) and exist once.
func (w *writer) photo() []byte {
	data := []byte("\x89PNG\r\n\x1a\n")
	for range 16 << 10 {
		data = append(data, byte(w.random.Uint32()), byte(w.random.Uint32()), byte(w.random.Uint32()), byte(w.random.Uint32()))
	}
	return data
}

func (w *writer) putPhoto(ctx context.Context, hash string, data []byte) (thing, error) {
	return w.put(ctx, thing{kind: "photo", id: hash}, "/v1/photos/"+hash, "image/png", data)
}

func (w *writer) putJSON(ctx context.Context, th thing, path string, body object) (thing, error) {
	data, err := json.Marshal(body)
	if err != nil {
		return th, err
	}
	return w.put(ctx, th, path, "application/json", data)
}

// put sends the same again and again until it is acknowledged. Until then there may be no answer, or that the program
// is unavailable. Anything else is an error: nothing that is sent here is wrong, and a dead database is no fault of ours.
func (w *writer) put(ctx context.Context, th thing, path, mediaType string, data []byte) (thing, error) {
	for attempts := 1; ; attempts++ {
		status, raw, err := w.world.technician.ask(ctx, http.MethodPut, path, mediaType, w.body(th.kind, data), len(data))
		switch {
		case ctx.Err() != nil:
			return th, fmt.Errorf("%s %s was never acknowledged: %w", th.kind, th.id, context.Cause(ctx))
		case err != nil:
			w.history.without("no answer")
		case status == http.StatusServiceUnavailable:
			w.history.without(http.StatusText(status))
		case status != http.StatusOK && status != http.StatusCreated:
			return th, fmt.Errorf("%s %s was refused at attempt %d: %d %s", th.kind, th.id, attempts, status, raw)
		default:
			var answer struct {
				SHA256       string `json:"sha256"`
				RecordSHA256 string `json:"record_sha256"`
			}
			if err := json.Unmarshal(raw, &answer); err != nil {
				return th, err
			}
			th.sha256 = answer.SHA256
			if th.kind == "sign-off" {
				th.sha256 = answer.RecordSHA256
			}
			return th, w.history.acknowledge(th, status, attempts)
		}
		time.Sleep(30 * time.Millisecond)
	}
}

// body reads the bytes; half-way through a photo it comes past a trap.
func (w *writer) body(kind string, data []byte) io.Reader {
	if kind != "photo" {
		return bytes.NewReader(data)
	}
	half := len(data) / 2
	return io.MultiReader(bytes.NewReader(data[:half]), readerFunc(func([]byte) (int, error) {
		w.world.half.reach(halfPhoto)
		return 0, io.EOF
	}), bytes.NewReader(data[half:]))
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }
