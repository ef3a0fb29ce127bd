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
	Listen   string `env:"LINTEL_LISTEN" default:"127.0.0.1:8080" help:"Address to listen on. Put a proxy with TLS before it."`
	NoWorker bool   `help:"Do not work off the jobs here."`
}

// Run serves until it is told to stop, then lets running requests and jobs end.
func (c *serveCmd) Run(ctx context.Context) error {
	if err := errors.Join(c.check(), checkListen(c.Listen)); err != nil {
		return err
	}
	h, err := open(ctx, &c.settings, newLog())
	if err != nil {
		return err
	}
	defer func() { h.log.Info("closed", "err", h.close(context.WithoutCancel(ctx))) }()
	if !c.NoWorker {
		if err := h.worker(ctx); err != nil {
			return err
		}
	}
	listener, err := net.Listen("tcp", c.Listen)
	if err != nil {
		return fmt.Errorf("listen: %w", err)
	}
	h.log.Info("serving", "address", "http://"+listener.Addr().String(), "version", version)
	return serve(ctx, listener, h.face())
}

// drainWithin is how long running requests may take after the program is told to stop.
const drainWithin = 30 * time.Second

// serve answers on a listener until the context ends, then drains.
func serve(ctx context.Context, listener net.Listener, handler http.Handler) error {
	server := &http.Server{Handler: handler, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 60 * time.Second, WriteTimeout: 90 * time.Second,
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
}

// Run works until it is told to stop.
func (c *workerCmd) Run(ctx context.Context) error {
	if err := c.check(); err != nil {
		return err
	}
	h, err := open(ctx, &c.settings, newLog())
	if err != nil {
		return err
	}
	if err := h.worker(ctx); err != nil {
		return errors.Join(err, h.close(ctx))
	}
	h.log.Info("working", "version", version)
	<-ctx.Done()
	return h.close(context.WithoutCancel(ctx))
}

func newLog() *slog.Logger { return slog.New(slog.NewJSONHandler(os.Stderr, nil)) }
