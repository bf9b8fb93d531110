package plan

import "context"

// A Store keeps a plan. What it holds obeys the plan's rules at any time, also
// with several programs at work on it.
type Store interface {
	// Load returns the plan as it is now. Its Site is not kept here and empty.
	Load(ctx context.Context) (Plan, error)
	// Change loads the plan, lets change alter it, and keeps the outcome, while
	// nobody else can change it. Any error leaves the stored plan as it was.
	Change(ctx context.Context, change func(*Plan) error) error
}
