package store

import (
	"context"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/fleet"
)

type nameRow struct {
	ID       uuid.UUID
	Text     string
	Tag      string
	SiteID   *uuid.UUID
	TimeZone string
	Kind     string
}

const sqlNamesOf = `-- names_of
select customer_id as id, name as text, '' as tag, null::uuid as site_id, '' as time_zone, '' as kind from customer where customer_id = any (@customers)
union all
select site_id, name, '', site_id, time_zone, '' from site
  where site_id = any (@sites) or site_id in (select d.site_id from door d where d.door_id = any (@doors))
union all
select d.door_id, d.name, d.tag, d.site_id, s.time_zone, '' from door d join site s on s.site_id = d.site_id where d.door_id = any (@doors)
union all
select c.component_id, coalesce(nullif(trim(m.maker || ' ' || m.name), ''), c.model_text), '', c.site_id, '', c.kind
  from component c left join device_model m on m.model_id = c.model_id where c.component_id = any (@components)
union all
select model_id, trim(maker || ' ' || name), '', null, '', kind from device_model where model_id = any (@models)
union all
select person_id, name, '', null, '', '' from person where person_id = any (@people)`

// NamesOf gives the names of things by their ids.
func (t *Tx) NamesOf(ctx context.Context, ids fleet.Named) (fleet.Names, error) {
	rows, err := query[nameRow](ctx, t, "names_of", sqlNamesOf, pgx.StrictNamedArgs{"customers": some(ids.Customers), "sites": some(ids.Sites),
		"doors": some(ids.Doors), "components": some(ids.Components), "models": some(ids.Models), "people": some(ids.People)})
	names := make(fleet.Names, len(rows))
	for _, r := range rows {
		n := fleet.Name{Text: r.Text, Tag: fleet.Tag(r.Tag), TimeZone: r.TimeZone, Kind: r.Kind}
		if r.SiteID != nil {
			n.SiteID = *r.SiteID
		}
		names[r.ID] = n
	}
	return names, err
}

// some gives ids as an array that is never NULL.
func some(ids []uuid.UUID) []uuid.UUID { return append([]uuid.UUID{}, ids...) }
