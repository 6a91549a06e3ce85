// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"os/user"
	"sync"
	"time"

	system "github.com/coreos/go-systemd/v22/daemon"
	"github.com/robfig/cron/v3"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

// drainTime is how long running requests get when the daemon stops.
const drainTime = 10 * time.Second

// Serve runs the daemon until the context ends: the pages on their listener,
// the same handler on the Unix socket, and the loop that sweeps and delivers.
// The first part to stop stops all, and every part has stopped on return.
// Announce is called with the pages' address once they can be reached.
func (h *Service) Serve(
	ctx context.Context, c Config, bound net.Listener, now func() time.Time, log *slog.Logger, announce func(address string) error,
) error {
	show, err := c.shown(now)
	if err != nil {
		return errors.Join(err, bound.Close())
	}
	h.shown.Store(&show)
	pages, address, err := guardPages(c, bound, h.Gate, show.certificate)
	if err != nil {
		return errors.Join(err, bound.Close())
	}
	h.serving.Store(true)
	defer h.serving.Store(false)
	for _, line := range lacks(h.system) {
		log.Warn("on this system " + line)
	}
	if conn, err := c.Dial(ctx); c.InDatabase() && err == nil { // a file's lock would have told
		return errors.Join(fmt.Errorf("folder: %s: %w: its daemon answers there", c.Beside(), loops.ErrInUse), conn.Close(), pages.Close())
	}
	socket, err := h.socket(c.Socket(), log)
	if err != nil {
		return errors.Join(err, pages.Close())
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	pageServer, socketServer := newServer(h.Handler, log), newServer(h.Handler, log)
	socketServer.ConnContext = peerActor
	// Commands are the user's own, and one may take long over a large register.
	socketServer.ReadTimeout, socketServer.WriteTimeout = 0, 0
	for _, without := range []string{c.WithoutLinks(), c.WithoutCanary()} {
		if without != "" {
			log.Info(without)
		}
	}
	running, parts := 4, make(chan error, 5)
	go func() { parts <- serveHTTP(pageServer, pages) }()
	go func() { parts <- h.tick(ctx, c, now, log) }()
	go func() { parts <- h.watch(ctx, now, log) }()
	go func() { parts <- h.keepBackups(ctx, now, log) }()
	var beside sync.WaitGroup
	beside.Go(func() { h.watchdog(ctx, log) })
	beside.Go(func() { h.keepLead(ctx, log) })
	if socket != nil {
		running++
		go func() { parts <- serveHTTP(socketServer, socket) }()
	}
	first := announce(address)
	if first != nil {
		stop()
	} else {
		tellSystem(log, system.SdNotifyReady)
	}
	select {
	case <-ctx.Done():
	case err := <-parts:
		first = errors.Join(first, err)
		running--
	}
	tellSystem(log, system.SdNotifyStopping)
	stop()
	drain, cancel := context.WithTimeout(context.WithoutCancel(ctx), drainTime)
	defer cancel()
	first = errors.Join(first, pageServer.Shutdown(drain), socketServer.Shutdown(drain))
	for range running {
		first = errors.Join(first, <-parts)
	}
	beside.Wait()
	return first
}

func serveHTTP(s *http.Server, l net.Listener) error {
	if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// maxSocketPath is what the kernel allows in sockaddr_un, less its NUL.
const maxSocketPath = 107

// socket is where commands reach the daemon. Old versions of Windows have no
// such thing; there the pages are served all the same, and it is nil.
func (h *Service) socket(path string, log *slog.Logger) (net.Listener, error) {
	l, err := listenSocket(path)
	if err != nil && h.system == "windows" {
		log.Warn("on this system "+noSocket, "error", err)
		return nil, nil
	}
	return l, err
}

// noSocket is what happens where the daemon's socket cannot be made.
const noSocket = "commands do not reach the daemon: stop it first, or use the pages"

// CheckSocket refuses a path that is too long for a socket.
func CheckSocket(path string) error {
	if len(path) > maxSocketPath {
		return &SettingError{fmt.Errorf("store: %q gives the socket a path of %d bytes; at most %d are possible, so a shorter folder is right", path, len(path), maxSocketPath)}
	}
	return nil
}

// listenSocket listens beside the register, mode 0600. Holding the register, or
// that nobody answered,
// proves that a socket file left there has no daemon behind it.
func listenSocket(path string) (net.Listener, error) {
	if err := CheckSocket(path); err != nil {
		return nil, err
	}
	if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("socket: %w", err)
	}
	l, err := net.Listen("unix", path)
	if err != nil {
		return nil, fmt.Errorf("socket: %w", err)
	}
	if err := os.Chmod(path, 0o600); err != nil {
		return nil, errors.Join(fmt.Errorf("socket: %w", err), l.Close())
	}
	return l, nil
}

// peerActor records a request over the socket as done by the user at its
// other end, as far as the system names them.
func peerActor(ctx context.Context, conn net.Conn) context.Context {
	if _, ok := conn.(*net.UnixConn); !ok {
		return ctx
	}
	actor := "local:unknown"
	if id, told := peerOf(conn); told {
		actor = "local:" + id
		if u, err := user.LookupId(id); err == nil {
			actor = "local:" + u.Username
		}
	}
	return web.WithActor(ctx, actor)
}

// tick sweeps and delivers at start, by cron, every few minutes and after
// writes. The cron only wakes: what is due is read from the register, so a
// missed tick loses nothing.
func (h *Service) tick(ctx context.Context, c Config, now func() time.Time, log *slog.Logger) error {
	clock := cron.New(cron.WithLocation(c.Zone()))
	if _, err := clock.AddFunc(c.Sweep.Cron, h.poke); err != nil {
		return fmt.Errorf("sweep.cron: %w", err)
	}
	clock.Start()
	defer func() { <-clock.Stop().Done() }()
	every := time.NewTicker(time.Duration(c.Sweep.EveryMinutes) * time.Minute)
	defer every.Stop()
	read := make(chan struct{})
	go func() { defer close(read); h.watchMailbox(ctx, now, log) }()
	defer func() { <-read }()
	waits := time.NewTicker(beatEvery)
	defer waits.Stop()
	for {
		h.round(ctx, log, now().In(c.Zone()))
		wake(h.look)
		if !h.waitForWork(ctx, every.C, waits.C) {
			return nil
		}
	}
}

// waitForWork waits until there is something to look for, and beats meanwhile;
// false where the daemon stops.
func (h *Service) waitForWork(ctx context.Context, every, waits <-chan time.Time) bool {
	for {
		h.heart.beat()
		select {
		case <-ctx.Done():
			return false
		case <-h.wake:
			return true
		case <-every:
			return true
		case <-waits:
		}
	}
}
