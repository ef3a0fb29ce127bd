package main

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"text/tabwriter"
	"time"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
	"lintel.example/lintel/internal/words"
)

// packReplayCmd judges signed inspections by a pack.
type packReplayCmd struct {
	settings
	Pack string `arg:"" help:"The pack's YAML file, or a pack that comes with the program by NAME[@EDITION]."`
	Last int    `placeholder:"N" help:"The newest N inspections of the fleet, instead of the last of every door."`
	All  bool   `help:"List every door of which it says otherwise, not only the first 40."`
	JSON bool   `name:"json" help:"Print JSON lines: one a door of which it says otherwise, then the counts."`
	Keep string `placeholder:"FILE" help:"Write down in FILE how far it has come; the same command with the same FILE goes on from there."`
	Part int    `default:"500" help:"How many doors are read at a time."`
}

// mostLines is how many doors are listed without --all.
const mostLines = 40

// Run prints what would change. Progress goes to standard error.
func (c *packReplayCmd) Run(ctx context.Context) error {
	if c.Last < 0 || c.Part < 1 {
		return badInput{errors.New("--last is not negative, and --part at least 1")}
	}
	pack, err := packOf(c.Pack)
	if err != nil {
		return err
	}
	return c.within(ctx, func(h *house) error {
		ask := fleet.ReplayAsk{Pack: pack, Until: h.now(), Last: c.Last, Part: c.Part}
		r, err := openReplay(c.Keep, ask)
		if err != nil {
			return err
		}
		defer r.close()
		ask.Until = r.head.Until
		size, err := h.fleet.ReplaySize(ctx, identity.Program(), ask)
		if err != nil {
			return err
		}
		tell := replayProgress(os.Stderr, r.next.Done, size)
		err = h.fleet.Replay(ctx, identity.Program(), ask, r.next, func(p fleet.ReplayPage) error {
			tell(p.Next.Done)
			return r.take(p)
		})
		if err != nil {
			return told(h.words, err)
		}
		return c.print(os.Stdout, h.words.Printer("en", words.Metric), r)
	})
}

// replayHead is the first line of what is kept: what the rest belongs to.
type replayHead struct {
	Pack   string    `json:"pack"`
	Digest string    `json:"digest"`
	Last   int       `json:"last"`
	Until  time.Time `json:"until"`
}

// replayLine is any other line: a door of which the pack says otherwise, or that everything before is complete.
type replayLine struct {
	Changed *fleet.ReplayedInspection `json:"changed,omitempty"`
	Next    *fleet.ReplayCursor       `json:"next,omitempty"`
	Sum     *fleet.ReplaySum          `json:"sum,omitempty"` // since the last
}

// replayRun is a replay as far as it has come, in memory and, if wanted, in a file.
type replayRun struct {
	head    replayHead
	next    fleet.ReplayCursor
	sum     fleet.ReplaySum
	changed []fleet.ReplayedInspection
	file    *os.File // nil: not kept
}

// openReplay begins a replay or takes one up. What was written after the last complete part is done again.
func openReplay(name string, ask fleet.ReplayAsk) (*replayRun, error) {
	r := &replayRun{head: replayHead{ask.Pack.ID, ask.Pack.Digest, ask.Last, ask.Until}}
	if name == "" {
		return r, nil
	}
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, badInput{err}
	}
	r.file = f
	end, err := r.read(f)
	if err == nil && end == 0 {
		end, err = r.write(r.head)
	}
	if err == nil {
		err = f.Truncate(end)
	}
	if err == nil {
		_, err = f.Seek(end, io.SeekStart)
	}
	if err != nil {
		return nil, errors.Join(badInput{fmt.Errorf("--keep %s: %w", name, err)}, f.Close())
	}
	return r, nil
}

// read takes up what is kept and tells where its last complete part ends.
func (r *replayRun) read(f *os.File) (end int64, err error) {
	in := bufio.NewReader(f)
	var at int64
	var changed []fleet.ReplayedInspection
	for n := 0; ; n++ {
		line, err := in.ReadBytes('\n')
		if errors.Is(err, io.EOF) {
			return end, nil // a line without its end was being written
		}
		if err != nil {
			return 0, err
		}
		at += int64(len(line))
		if n == 0 {
			var head replayHead
			if err := strictly(line, &head); err != nil {
				return 0, errors.New("this is no replay that was kept")
			}
			if head.Digest != r.head.Digest || head.Last != r.head.Last {
				return 0, fmt.Errorf("this is the replay of another text or of other inspections (%s, --last %d): name another file", head.Pack, head.Last)
			}
			r.head, end = head, at
			continue
		}
		var one replayLine
		if err := strictly(line, &one); err != nil {
			return 0, fmt.Errorf("line %d cannot be read: %w", n+1, err)
		}
		if one.Changed != nil {
			changed = append(changed, *one.Changed)
		}
		if one.Next != nil && one.Sum != nil {
			r.next, end = *one.Next, at
			r.sum.Add(*one.Sum)
			r.changed, changed = append(r.changed, changed...), nil
		}
	}
}

func strictly(line []byte, into any) error {
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	return d.Decode(into)
}

func (r *replayRun) write(lines ...any) (int64, error) {
	var b bytes.Buffer
	out := json.NewEncoder(&b)
	for _, line := range lines {
		if err := out.Encode(line); err != nil {
			return 0, err
		}
	}
	n, err := r.file.Write(b.Bytes())
	return int64(n), err
}

// take adds a part.
func (r *replayRun) take(p fleet.ReplayPage) error {
	r.changed = append(r.changed, p.Changed...)
	r.sum.Add(p.Sum)
	r.next = p.Next
	if r.file == nil {
		return nil
	}
	var lines []any
	for i := range p.Changed {
		lines = append(lines, replayLine{Changed: &p.Changed[i]})
	}
	_, err := r.write(append(lines, replayLine{Next: &p.Next, Sum: &p.Sum})...)
	return err
}

func (r *replayRun) close() {
	if r.file != nil {
		_ = r.file.Close()
	}
}

// replayProgress writes at most a line every two seconds: how many are done, how fast, and how long the rest will take.
func replayProgress(w io.Writer, from, all int) func(done int) {
	began := time.Now()
	last := began
	return func(done int) {
		if time.Since(last) < 2*time.Second {
			return
		}
		last = time.Now()
		rate := float64(done-from) / time.Since(began).Seconds()
		fmt.Fprintf(w, "lintel: %d of %d, %.0f a second, %.0f s left\n", done, max(all, done), rate, float64(max(all-done, 0))/rate)
	}
}

// print writes what came of it, doors by their tags.
func (c *packReplayCmd) print(w io.Writer, texts words.Printer, r *replayRun) error {
	slices.SortStableFunc(r.changed, func(a, b fleet.ReplayedInspection) int {
		return cmp.Or(cmp.Compare(a.Tag, b.Tag), b.ConcludedAt.Compare(a.ConcludedAt))
	})
	if c.JSON {
		return printReplayLines(w, r)
	}
	which := texts.T("replay.which.last")
	if r.head.Last > 0 {
		which = texts.T("replay.which.newest", "count", r.head.Last)
	}
	fmt.Fprintf(w, "%s.\n", texts.T("replay.head", "pack", r.head.Pack, "which", which, "until", r.head.Until.Format(time.RFC3339)))
	fmt.Fprintf(w, "%s; %s.\n\n", texts.T("replay.judged", "count", r.sum.Judged), texts.T("replay.others", "count", r.sum.Others))
	t := tabwriter.NewWriter(w, 0, 8, 2, ' ', 0)
	fmt.Fprintln(t, "THEN\tNOW\tINSPECTIONS")
	for _, step := range r.sum.Steps() {
		now := texts.T("replay.same")
		if step.Then != step.Now {
			now = texts.T("replay.result." + string(step.Now))
		}
		fmt.Fprintf(t, "%s\t%s\t%d\n", texts.T("replay.result."+string(step.Then)), now, r.sum.Changes[step])
	}
	if len(r.changed) == 0 {
		_ = t.Flush()
		_, err := fmt.Fprintf(w, "\n%s\n", texts.T("replay.none"))
		return err
	}
	fmt.Fprintln(t, "\nRULE\tINSPECTIONS")
	for _, rule := range slices.Sorted(maps.Keys(r.sum.Rules)) {
		fmt.Fprintf(t, "%s\t%d\n", rule, r.sum.Rules[rule])
	}
	_ = t.Flush()
	fmt.Fprintln(w)
	fmt.Fprintln(t, "TAG\tDOOR\tSITE\tINSPECTED\tTHEN\tNOW\tBECAUSE")
	shown := r.changed
	if !c.All && len(shown) > mostLines {
		shown = shown[:mostLines]
	}
	for _, d := range shown {
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", d.Tag, d.Name, d.SiteName, d.ConcludedAt.Format(time.DateOnly),
			texts.T("replay.result."+string(d.Then)), texts.T("replay.result."+string(d.Now)), fleet.BecauseText(texts, d.Rules))
	}
	err := t.Flush()
	if left := len(r.changed) - len(shown); left > 0 {
		_, err = fmt.Fprintf(w, "\n%s\n", texts.T("replay.more", "count", left))
	}
	return err
}

func printReplayLines(w io.Writer, r *replayRun) error {
	out := json.NewEncoder(w)
	out.SetEscapeHTML(false)
	for _, d := range r.changed {
		if err := out.Encode(d); err != nil {
			return err
		}
	}
	return out.Encode(struct {
		replayHead
		fleet.ReplaySum
	}{r.head, r.sum})
}
