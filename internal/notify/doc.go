// Package notify takes notices out of the house: mail over SMTP, and events to other programs over HTTP.
//
// A notice is a legal fact that the database keeps; this room only carries it and says honestly what became of it:
// accepted, refused for good, refused for now, or unknown because the line broke after the last byte. Delivery is at
// least once, and the Message-ID is the notice's own id, so a receiver can drop the second copy.
//
// To add a way out (a text message): a type with Deliver(ctx, Message) (Receipt, error) in a file of its
// own that answers failures as *Failure, a test against a real server of that protocol, and its wiring in cmd/lintel.
package notify
