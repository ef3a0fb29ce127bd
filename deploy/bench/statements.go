package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"
)

// tracer records statements with their arguments while it is on.
type tracer struct {
	mu         sync.Mutex
	on         bool
	statements []pgx.TraceQueryStartData
}

// TraceQueryStart implements pgx.QueryTracer.
func (t *tracer) TraceQueryStart(ctx context.Context, conn *pgx.Conn, data pgx.TraceQueryStartData) context.Context {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.on {
		if len(data.Args) == 1 {
			if named, ok := data.Args[0].(pgx.QueryRewriter); ok {
				sql, args, err := named.RewriteQuery(ctx, conn, data.SQL, data.Args)
				if err == nil {
					data.SQL, data.Args = sql, args
				}
			}
		}
		t.statements = append(t.statements, data)
	}
	return ctx
}

// TraceQueryEnd implements pgx.QueryTracer.
func (t *tracer) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}

// script records the statements of one run of a use-case and writes them for pgbench, with the values written in. What
// names id in them becomes new in each transaction of pgbench.
func (b *bench) script(ctx context.Context, path string, id uuid.UUID, use func() error) (statements int, err error) {
	b.trace.statements, b.trace.on = nil, true
	err = use()
	b.trace.on = false
	if err != nil {
		return 0, err
	}
	conn, err := b.pool.Acquire(ctx)
	if err != nil {
		return 0, err
	}
	defer conn.Release()
	// The login role may read nothing: statements are looked at as the role that ran them.
	if _, err := conn.Exec(ctx, "set role lintel_staff"); err != nil {
		return 0, err
	}
	defer func() { _, _ = conn.Exec(ctx, "reset role") }()
	var script strings.Builder
	script.WriteString("\\set n random(1, 999999999999)\n")
	for i, s := range b.trace.statements {
		text, err := written(ctx, conn.Conn(), fmt.Sprintf("%s_%d", filepath.Base(path), i), s, id)
		if err != nil {
			return 0, err
		}
		script.WriteString(text + ";\n")
	}
	return len(b.trace.statements), os.WriteFile(path, []byte(script.String()), 0o644)
}

var (
	place    = regexp.MustCompile(`\$(\d+)`)
	variable = regexp.MustCompile(`:([A-Za-z_])`)
)

// written writes the values of a statement into its text; the id of the revision becomes one that is new each time.
func written(ctx context.Context, conn *pgx.Conn, name string, s pgx.TraceQueryStartData, id uuid.UUID) (string, error) {
	if len(s.Args) == 0 {
		return s.SQL, nil
	}
	described, err := conn.Prepare(ctx, name, s.SQL)
	if err != nil {
		return "", fmt.Errorf("%.60s: %w", s.SQL, err)
	}
	var failed error
	text := place.ReplaceAllStringFunc(s.SQL, func(p string) string {
		i, _ := strconv.Atoi(p[1:])
		oid := described.ParamOIDs[i-1]
		encoded, err := conn.TypeMap().Encode(oid, pgtype.TextFormatCode, s.Args[i-1], nil)
		switch {
		case err != nil:
			failed = fmt.Errorf("%s: %w", p, err)
		case encoded == nil:
			return "null"
		}
		// pgbench would take :false within JSON for a variable of its own.
		literal := "'" + variable.ReplaceAllString(strings.ReplaceAll(string(encoded), "'", "''"), ": $1") + "'"
		if strings.Contains(literal, id.String()) {
			literal = "(" + strings.ReplaceAll(literal, id.String(), "' || '00000000-0000-7000-8000-' || lpad((:n)::text, 12, '0') || '") + ")"
		}
		if t, ok := conn.TypeMap().TypeForOID(oid); ok {
			literal += "::" + strings.Replace(t.Name, "_", "", 1) + map[bool]string{true: "[]"}[strings.HasPrefix(t.Name, "_")]
		}
		return literal
	})
	_, comment, _ := strings.Cut(text, "\n")
	if comment != "" && strings.HasPrefix(text, "--") {
		text = comment
	}
	return strings.ReplaceAll(text, "\n", " "), failed
}

var tps = regexp.MustCompile(`tps = ([0-9.]+)`)

func pgbenchRate(ctx context.Context, pgbench, app, script string, clients int) (float64, error) {
	out, err := exec.CommandContext(ctx, pgbench, "-n", "-M", "prepared", "-c", strconv.Itoa(clients), "-j", strconv.Itoa(min(clients, 2)),
		"-T", strconv.Itoa(roundSeconds), "-f", script, app).CombinedOutput()
	found := tps.FindSubmatch(out)
	if err != nil || found == nil || strings.Contains(string(out), "ERROR") {
		return 0, fmt.Errorf("pgbench: %w: %.2000s", err, out)
	}
	return strconv.ParseFloat(string(found[1]), 64)
}
