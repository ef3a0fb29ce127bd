package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"time"
)

// serveCmd serves the API and, unless told otherwise, works off the jobs in the same process.
type serveCmd struct {
	settings
	figures
	Listen   string        `env:"LINTEL_LISTEN" default:"127.0.0.1:8080" help:"Address to listen on. Put a proxy with TLS before it."`
	NoWorker bool          `env:"LINTEL_NO_WORKER" help:"Do not work off the jobs here."`
	Leave    time.Duration `env:"LINTEL_LEAVE" default:"0s" help:"When told to stop: answer \"not ready\" for so long before listening ends, so that a load balancer sees it."`
}

// check names every fault at once.
func (c *serveCmd) check() error {
	faults := []error{c.settings.check(), checkListen("LINTEL_LISTEN", c.Listen), c.figures.check()}
	if c.Leave < 0 {
		faults = append(faults, errors.New("LINTEL_LEAVE is negative"))
	}
	if err := errors.Join(faults...); err != nil {
		return badInput{err}
	}
	return nil
}

// checkListen refuses an address that cannot be listened on, before anything is started.
func checkListen(setting, address string) error {
	_, port, err := net.SplitHostPort(address)
	if err == nil {
		_, err = net.LookupPort("tcp", port)
	}
	if err != nil {
		return badInput{fmt.Errorf("%s: %w", setting, err)}
	}
	return nil
}

// Run serves until it is told to stop, then lets running requests and jobs end.
func (c *serveCmd) Run(ctx context.Context) error {
	if err := c.check(); err != nil {
		return err
	}
	h, err := open(ctx, &c.settings, asHost, newLog())
	if err != nil {
		return err
	}
	defer func() { h.log.Info("closed", "err", h.close(context.WithoutCancel(ctx))) }()
	ctx, end := h.whileDatabaseLives(ctx)
	defer end()
	if err := c.figures.serve(ctx, h); err != nil {
		return err
	}
	if !c.NoWorker {
		if err := h.worker(ctx); err != nil {
			return err
		}
	}
	face, err := h.face()
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	h.log.Info("serving", "address", "http://"+listener.Addr().String(), "version", version)
	return errors.Join(serve(h.leaving(ctx, c.Leave), listener, face), endedBy(ctx))
}

// leaving gives a context that ends a while after ctx; in between the house answers that it is not ready.
func (h *house) leaving(ctx context.Context, after time.Duration) context.Context {
	serving, stop := context.WithCancel(context.WithoutCancel(ctx))
	context.AfterFunc(ctx, func() {
		h.left.Store(true)
		h.log.Info("told to stop", "listening_until", now().Add(after))
		time.AfterFunc(after, stop)
	})
	return serving
}

// drainWithin is how long running requests may take after the program is told to stop.
const drainWithin = 30 * time.Second

// serve answers on a listener until the context ends, then drains.
func serve(ctx context.Context, listener net.Listener, handler http.Handler) error {
	server := &http.Server{Handler: handler, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 5 * time.Minute, WriteTimeout: 6 * time.Minute, // a photo over a bad line takes its time
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 64 << 10}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	drain, cancel := context.WithTimeout(context.WithoutCancel(ctx), drainWithin)
	defer cancel()
	return server.Shutdown(drain)
}

// workerCmd works off the jobs only.
type workerCmd struct {
	settings
	figures
}

// check names every fault at once.
func (c *workerCmd) check() error {
	if err := errors.Join(c.settings.check(), c.figures.check()); err != nil {
		return badInput{err}
	}
	return nil
}

// Run works until it is told to stop.
func (c *workerCmd) Run(ctx context.Context) error {
	if err := c.check(); err != nil {
		return err
	}
	h, err := open(ctx, &c.settings, asHost, newLog())
	if err != nil {
		return err
	}
	defer func() { h.log.Info("closed", "err", h.close(context.WithoutCancel(ctx))) }()
	ctx, end := h.whileDatabaseLives(ctx)
	defer end()
	if err := c.figures.serve(ctx, h); err != nil {
		return err
	}
	if err := h.worker(ctx); err != nil {
		return err
	}
	h.log.Info("working", "version", version)
	<-ctx.Done()
	return endedBy(ctx)
}

func newLog() *slog.Logger { return slog.New(slog.NewJSONHandler(os.Stderr, nil)) }
