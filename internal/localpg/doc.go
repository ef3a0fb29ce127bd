// Package localpg finds PostgreSQL's programs and runs a private server as a child of this process: for the
// demonstration, for tests, and for a company that wants everything on one machine.
//
// Private means: no TCP port, one Unix socket in a folder that only the server's user may enter, a data folder
// that belongs to one process at a time. The connection needs no password because the folder is the lock; the
// user that URL("postgres", …) names is a superuser, so the program uses it to set up and to migrate only.
//
// # The data folder
//
//	lintel-server   marks the folder as ours; locked (flock) while a process uses it
//	data/           PostgreSQL's own data directory
//	data.new/       one that is being made; thrown away when found at a start
//	server.log      what the server said; the one before is server.log.old
//	socket/         the Unix socket, where the path is short enough for one
//
// # Who dies when
//
//   - Stop, or the end of this process by any means, kill -9 too, ends the server with a fast shutdown: the kernel
//     signals it when the thread that forked it dies. That thread is kept for this alone.
//   - When the server dies, Done is closed; Start with the same Options recovers everything that was committed.
//   - Start waits for servers that an earlier process left behind in this folder, and believes no process id that
//     it reads from a file: it looks which processes live in the folder. A dead server that nobody has reaped (a
//     container without an init) therefore does not block the next start.
//
// Linux only: the parent-death signal and /proc are the reason.
//
// To add a setting of the server: put it into conf when every private server needs it, into Options.ExtraConf when
// one caller does. To add a place where PostgreSQL's programs may be: extend candidates in find.go.
package localpg
