package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"lintel.example/lintel/internal/fleet"
	"lintel.example/lintel/internal/identity"
)

// figures is where a process tells its figures: an address of its own, because those who ask the API, or come through
// the proxy before it, have no business with them.
type figures struct {
	MetricsListen string `env:"LINTEL_METRICS_LISTEN" placeholder:"ADDRESS" help:"Give figures for Prometheus at /metrics on this address, to whoever reaches it; empty: nowhere."`
}

func (f figures) check() error {
	if f.MetricsListen == "" {
		return nil
	}
	return checkListen("LINTEL_METRICS_LISTEN", f.MetricsListen)
}

// serve tells the house's figures until the house is closed.
func (f figures) serve(ctx context.Context, h *house) error {
	if f.MetricsListen == "" {
		return nil
	}
	listener, err := net.Listen("tcp", f.MetricsListen)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(h.metrics, promhttp.HandlerOpts{}))
	telling, stop := context.WithCancel(context.WithoutCancel(ctx)) // while the last requests and jobs end, too
	ended := make(chan error, 1)
	go func() { ended <- serve(telling, listener, mux) }()
	h.closers = append(h.closers, func(context.Context) error {
		stop()
		if err := <-ended; !errors.Is(err, http.ErrServerClosed) {
			return err
		}
		return nil
	})
	h.log.Info("telling figures", "address", "http://"+listener.Addr().String()+"/metrics")
	return nil
}

// newMetrics makes the house's own registry: the library's default one is shared by everything in a process.
func (h *house) newMetrics() {
	h.metrics = prometheus.NewRegistry()
	h.metrics.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
		poolMetrics{h.pool, "requests"}, poolMetrics{h.jobPool, "jobs"}, jobMetrics{h.fleet}, backupMetrics{h.fleet})
}

// requests counts and times answers by the route's pattern, never by the path, which is endless.
func (h *house) requests() func(method, route string, status int, took time.Duration) {
	seconds := prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "lintel_request_seconds", Help: "Time to answer, by route and status.",
		Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5}}, []string{"method", "route", "status"})
	h.metrics.MustRegister(seconds)
	return func(method, route string, status int, took time.Duration) {
		seconds.WithLabelValues(method, route, strconv.Itoa(status)).Observe(took.Seconds())
	}
}

// poolMetrics are the connections to the database. It implements prometheus.Collector.
type poolMetrics struct {
	pool *pgxpool.Pool
	name string
}

// Describe leaves the description to what is collected.
func (p poolMetrics) Describe(chan<- *prometheus.Desc) {}

// Collect reads the pool's own counters.
func (p poolMetrics) Collect(out chan<- prometheus.Metric) {
	s := p.pool.Stat()
	send := func(name, help string, kind prometheus.ValueType, value float64) {
		out <- prometheus.MustNewConstMetric(prometheus.NewDesc(name, help, nil, prometheus.Labels{"pool": p.name}), kind, value)
	}
	send("lintel_database_connections_used", "Connections in use.", prometheus.GaugeValue, float64(s.AcquiredConns()))
	send("lintel_database_connections_most", "Connections that there may be.", prometheus.GaugeValue, float64(s.MaxConns()))
	send("lintel_database_waits_total", "Times that somebody had to wait for a connection.", prometheus.CounterValue, float64(s.EmptyAcquireCount()))
	send("lintel_database_wait_seconds_total", "Time that was waited for connections.", prometheus.CounterValue, s.EmptyAcquireWaitTime().Seconds())
}

// jobMetrics tells from the ledger when each job last did its work, whichever server did it: the one figure that
// shows that the calendar stands still. It implements prometheus.Collector.
type jobMetrics struct{ fleet *fleet.Fleet }

// Describe leaves the description to what is collected.
func (j jobMetrics) Describe(chan<- *prometheus.Desc) {}

// Collect reads the ledger. A job that never succeeded has no time of success.
func (j jobMetrics) Collect(out chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	success := prometheus.NewDesc("lintel_job_last_success_timestamp_seconds", "When the job last finished with success (Unix time).", []string{"job"}, nil)
	missed := prometheus.NewDesc("lintel_job_missed", "1: the job should have run by now and has not.", []string{"job"}, nil)
	states, err := j.fleet.JobStates(ctx, identity.Program())
	if err != nil {
		out <- prometheus.NewInvalidMetric(missed, err)
		return
	}
	for _, s := range states {
		if s.LastDone != nil {
			out <- prometheus.MustNewConstMetric(success, prometheus.GaugeValue, float64(s.LastDone.UnixMilli())/1000, s.Job)
		}
		alarm := 0.0
		if !s.MissedAt.IsZero() {
			alarm = 1
		}
		out <- prometheus.MustNewConstMetric(missed, prometheus.GaugeValue, alarm, s.Job)
	}
}

// backupMetrics tells when the last good backup ended: the figure to be alarmed by. It implements prometheus.Collector.
type backupMetrics struct{ fleet *fleet.Fleet }

// Describe leaves the description to what is collected.
func (b backupMetrics) Describe(chan<- *prometheus.Desc) {}

// Collect asks the database. Where there was no good backup yet, the figure is 0, so that an alarm on its age sounds.
func (b backupMetrics) Collect(out chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	desc := prometheus.NewDesc("lintel_backup_last_good_timestamp_seconds", "When the last good backup ended (Unix time); 0: never.", nil, nil)
	_, last, err := b.fleet.Backups(ctx, identity.Program(), fleet.BackupQuery{Limit: 1})
	if err != nil {
		out <- prometheus.NewInvalidMetric(desc, err)
		return
	}
	at := 0.0
	if !last.IsZero() {
		at = float64(last.UnixMilli()) / 1000
	}
	out <- prometheus.MustNewConstMetric(desc, prometheus.GaugeValue, at)
}
