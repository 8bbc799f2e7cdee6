package logbook

import (
	"context"
	"database/sql"
)

// querier is a database or a transaction.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// query reads all rows at once and closes them before it returns: rows left open
// hold a snapshot, and with it the write-ahead log.
func query[T any](from querier, scan func(*sql.Rows) (T, error), text string, arguments ...any) ([]T, error) {
	return queryIn(context.Background(), from, scan, text, arguments...)
}

func queryIn[T any](ctx context.Context, from querier, scan func(*sql.Rows) (T, error), text string, arguments ...any) ([]T, error) {
	rows, err := from.QueryContext(ctx, text, arguments...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var all []T
	for rows.Next() {
		one, err := scan(rows)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	return all, rows.Err()
}
