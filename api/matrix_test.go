package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"maps"
	"net/http"
	"net/http/httptest"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-chi/chi/v5"
)

// row is one operation of the matrix: who gets which status of it. The statuses stand in the order of kinds(), in
// groups: staff, outsiders, those who have no access, tokens of a technician, other tokens. They are written down
// here and derived from nothing, so that a wrong grant is seen.
type row struct {
	op      string // an operation's id; a method and a path where there is none
	own     string // of a thing that outsiders see
	foreign string // of a thing of the fourth customer's, which no outsider sees; "" where nothing belongs to anybody
	// The request: the path of the operation with the ids of a place, but for
	ids   func(c cell) map[string]string // others,
	fresh string                         // and a new id in the place of this name;
	body  func(c cell) any               // nil: none.
	self  bool                           // own is the asker's own, foreign that of a person of the fourth customer's
	spare bool                           // by a session that ends
}

// cell is one person asking for one operation on one thing.
type cell struct {
	w   *world
	who *somebody
	on  *place
	own bool
	id  string // a new one
}

// matrix is the whole of who may do what. The last row changes passwords, and ends other sessions by that.
func matrix() []row {
	return []row{
		{op: "GET /healthz",
			own: "200 200 200 200  200 200 200 200  200 200 200 200 200 200  200 200 200 200  200 200 200"},
		{op: "GET /readyz",
			own: "200 200 200 200  200 200 200 200  200 200 200 200 200 200  200 200 200 200  200 200 200"},
		{op: "GET /openapi.json",
			own: "200 200 200 200  200 200 200 200  200 200 200 200 200 200  200 200 200 200  200 200 200"},
		{op: "GET /openapi.yaml",
			own: "200 200 200 200  200 200 200 200  200 200 200 200 200 200  200 200 200 200  200 200 200"},
		{op: "GET /openapi-3.0.json",
			own: "200 200 200 200  200 200 200 200  200 200 200 200 200 200  200 200 200 200  200 200 200"},
		{op: "GET /openapi-3.0.yaml",
			own: "200 200 200 200  200 200 200 200  200 200 200 200 200 200  200 200 200 200  200 200 200"},

		{op: "session-create", body: credentials,
			own: "201 201 201 201  201 201 201 201  401 401 201 201 201 401  201 201 201 201  201 201 201"},
		{op: "session-list",
			own: "200 200 200 200  200 200 200 200  401 401 200 401 401 401  403 403 403 403  403 403 403"},
		{op: "session-end", spare: true,
			own: "204 204 204 204  204 204 204 204  401 401 204 401 401 401  403 403 403 403  403 403 403"},
		{op: "session-end-other", self: true, ids: someSession,
			own:     "204 204 204 204  204 204 204 204  401 401 204 401 401 401  403 403 403 403  403 403 403",
			foreign: "404 404 404 404  404 404 404 404  401 401 404 401 401 401  403 403 403 403  403 403 403"},
		{op: "me-get",
			own: "200 200 200 200  200 200 200 200  401 401 200 401 401 401  403 403 403 403  403 403 403"},
		{op: "me-units-put", body: fixed(object{"units": "metric"}),
			own: "200 200 200 200  200 200 200 200  401 401 200 401 401 401  403 403 403 403  403 403 403"},

		{op: "person-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "person-get",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "person-put", fresh: "person_id", body: newPerson,
			own:     "403 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 201 403",
			foreign: "403 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 201 403"},
		{op: "person-disable", body: fixed(object{"disabled": false}),
			own:     "403 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 200 403",
			foreign: "403 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 200 403"},
		{op: "person-password-reset",
			own:     "403 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 200 403",
			foreign: "403 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 200 403"},
		{op: "token-list", self: true, ids: oneself,
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  403 403 403 403  403 403 403",
			foreign: "404 404 404 200  404 404 404 404  401 401 404 401 401 401  403 403 403 403  403 403 403"},
		{op: "token-create", self: true, ids: oneself, body: newToken,
			own:     "201 201 201 201  201 201 201 201  401 401 403 401 401 401  403 403 403 403  403 403 403",
			foreign: "404 404 404 201  404 404 404 404  401 401 404 401 401 401  403 403 403 403  403 403 403"},
		{op: "token-revoke", self: true, ids: someToken,
			own:     "204 204 204 204  204 204 204 204  401 401 403 401 401 401  403 403 403 403  403 403 403",
			foreign: "404 404 404 204  404 404 404 404  401 401 404 401 401 401  403 403 403 403  403 403 403"},
		{op: "qualification-list",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "qualification-put", fresh: "qualification_id", body: newQualification,
			own:     "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "expiry-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "audit-list",
			own: "403 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 200 403"},

		{op: "customer-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "customer-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "customer-put", fresh: "customer_id", body: newCustomer,
			own:     "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "site-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "site-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "site-put", fresh: "site_id", body: newSite,
			own:     "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "site-hand-over", body: sameOwner,
			own:     "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200",
			foreign: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "party-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "party-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "party-put", fresh: "party_id", body: newParty,
			own:     "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "standing-list",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "standing-put", fresh: "standing_id", body: newStanding,
			own:     "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "key-safe-code-put", body: newCode,
			own:     "200 200 403 200  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403",
			foreign: "200 200 403 200  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403"},
		{op: "key-safe-code-reveal",
			own:     "200 200 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403",
			foreign: "200 200 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403"},
		{op: "lock-code-put", body: newCode,
			own:     "200 200 403 200  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403",
			foreign: "200 200 403 200  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403"},
		{op: "lock-code-reveal",
			own:     "200 200 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403",
			foreign: "200 200 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403"},

		{op: "device-model-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "device-model-get", ids: inCatalogue,
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "device-model-put", ids: inCatalogue, fresh: "model_id", body: newModel,
			own: "403 403 201 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403"},
		{op: "device-model-correct", ids: inCatalogue, fresh: "correction_id", body: newModelCorrection,
			own: "403 403 201 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403"},
		{op: "accessory-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "accessory-get", ids: inCatalogue,
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "accessory-put", ids: inCatalogue, fresh: "accessory_id", body: newAccessory,
			own: "403 403 201 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403"},
		{op: "accessory-correct", ids: inCatalogue, fresh: "correction_id", body: newAccessoryCorrection,
			own: "403 403 201 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403"},
		{op: "instrument-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "instrument-get", ids: inCatalogue,
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "instrument-put", fresh: "instrument_id", body: newInstrument,
			own: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "rule-pack-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "rule-pack-get", ids: inCatalogue,
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "rule-pack-put", ids: aNewPack, body: newPack,
			own: "403 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 201 403"},
		{op: "rule-pack-replay", ids: inCatalogue,
			own: "403 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 200 403"},
		{op: "rule-pack-activation-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "rule-pack-activation-put", fresh: "activation_id", body: newActivation,
			own: "403 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 201 403"},

		{op: "door-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "door-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "door-by-tag",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "door-put", fresh: "door_id", body: newDoor,
			own:     "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "door-versions",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "drawing-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "coverage-get",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "advice-get",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "diagnosis-get", ids: inCatalogue,
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "comparison-get", ids: inCatalogue,
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "component-list",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "component-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "component-versions",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "component-put", fresh: "component_id", body: newComponent,
			own:     "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "revision-list",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "revision-put", fresh: "revision_id", body: newRevision,
			own:     "201 403 201 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 201 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "what-if", body: newWhatIf,
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "settings-sheet-of-door",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "settings-sheet-of-door-pdf",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "settings-sheet-of-device",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "settings-sheet-of-device-pdf",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "walk-test", body: newWalkTest,
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "field-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},

		{op: "import-create", body: triedList,
			own: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "import-list",
			own: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "import-get", ids: inCatalogue,
			own: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "import-undo", ids: inCatalogue,
			own: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},

		{op: "trends-get",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "expected-crossing-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "finding-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "mend-times",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "finding-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "shown-text-make", body: unsafeFindings,
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403"},
		{op: "shown-text-get", ids: shownText,
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "decision-put", fresh: "entry_id", body: newDecision,
			own:     "201 201 201 201  403 403 403 403  401 401 403 401 401 401  403 201 403 403  403 403 403",
			foreign: "201 201 201 201  403 403 403 403  401 401 403 401 401 401  403 201 403 403  403 403 403"},
		{op: "dismissal-put", fresh: "entry_id", body: newDismissal,
			own:     "403 201 201 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403",
			foreign: "403 201 201 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403"},
		{op: "plan-due",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "plan-list",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "plan-put", fresh: "plan_id", body: endedPlan,
			own:     "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "working-terms-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "working-terms-put", ids: theTechnician, body: newTerms,
			own:     "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200",
			foreign: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "visiting-hours-get",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "visiting-hours-put", body: newHours,
			own:     "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200",
			foreign: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "hold-get",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "hold-put", body: fixed(object{"held": false}),
			own:     "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200",
			foreign: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "route-plan-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "route-plan-get", ids: inCatalogue,
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "route-plan-put", fresh: "route_plan_id", body: fixed(object{"from": "2026-03-04", "steps": 10}),
			own: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "route-plan-take-over", ids: inCatalogue,
			own: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "work-order-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "work-order-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "work-order-parts",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "work-order-put", fresh: "work_order_id", body: newOrder,
			own:     "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "work-order-assign", body: fixed(object{}),
			own:     "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200",
			foreign: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "work-order-cancel", ids: cancelled, body: sameReason,
			own:     "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200",
			foreign: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "backup-run-list",
			own: "403 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 200 403"},
		{op: "work-order-end", ids: doneByHand, body: sameCompletion,
			own:     "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200",
			foreign: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "work-order-reopen", ids: reopened, body: sameReason,
			own:     "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200",
			foreign: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "work-order-history",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "job-run-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "visit-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "visit-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "oddity-list",
			own: "200 403 200 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  200 403 403"},
		{op: "oddity-get",
			own:     "200 403 200 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  200 403 403",
			foreign: "200 403 200 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  200 403 403"},
		{op: "oddity-explain", body: whatWasFound,
			own:     "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403",
			foreign: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 403"},
		{op: "force-series-get", ids: pressed,
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "walk-fit-get", ids: walked,
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "walk-fit-put", ids: walked,
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403"},
		{op: "inspection-form-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "inspection-form-pdf",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "inspection-form-html",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "facts-answer", ids: openVisit, body: fixed(object{"answers": []object{{"pointer": "/facts/energy", "word": "full"}}}),
			own:     "403 200 403 403  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403",
			foreign: "403 200 403 403  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403"},
		{op: "wanting-get",
			own:     "403 200 403 403  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403",
			foreign: "403 200 403 403  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403"},
		{op: "visit-put", fresh: "visit_id", body: newAttendance,
			own:     "403 201 403 403  403 403 403 403  401 401 403 401 401 401  403 201 403 403  403 403 403",
			foreign: "403 201 403 403  403 403 403 403  401 401 403 401 401 401  403 201 403 403  403 403 403"},
		{op: "entry-put", ids: openVisit, fresh: "entry_id", body: newNote,
			own:     "403 201 403 403  403 403 403 403  401 401 403 401 401 401  403 201 403 403  403 403 403",
			foreign: "403 201 403 403  403 403 403 403  401 401 403 401 401 401  403 201 403 403  403 403 403"},
		{op: "sign-off-put", body: sameSignature,
			own:     "403 200 403 403  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403",
			foreign: "403 200 403 403  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403"},
		{op: "photo-put", body: samePhoto,
			own:     "403 200 403 403  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403",
			foreign: "403 200 403 403  403 403 403 403  401 401 403 401 401 401  403 200 403 403  403 403 403"},
		{op: "photo-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "case-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "case-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "case-tag",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "case-tag-html",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "case-acknowledge", body: fixed(object{}),
			own:     "201 201 403 201  201 201 201 403  401 401 403 401 401 401  403 403 403 403  403 403 403",
			foreign: "201 201 403 201  404 404 404 403  401 401 403 401 401 401  403 403 403 403  403 403 403"},
		{op: "notice-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "notice-get",
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "letter-send-again",
			own:     "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200",
			foreign: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "bounce-post", body: aReport,
			own: "200 403 403 200  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 200"},
		{op: "refused-address-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "refused-address-clear",
			own:     "204 403 403 204  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 204",
			foreign: "204 403 403 204  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 204"},
		{op: "letter-template-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "letter-template-put", fresh: "template_id", body: func(cell) any { return object{"kind": "risk", "text": "About {findings}"} },
			own:     "403 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 201 403",
			foreign: "403 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 201 403"},
		{op: "letter-template-approve", fresh: "template_id",
			own:     "403 403 403 404  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 404 403",
			foreign: "403 403 403 404  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 404 403"},
		{op: "letter-preview", body: func(c cell) any { return object{"kind": "risk", "findings": []string{c.id}} },
			own:     "403 403 403 422  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 422 403",
			foreign: "403 403 403 422  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 422 403"},
		{op: "delivery-list", ids: theLetter,
			own:     "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "delivery-put", fresh: "delivery_id", ids: theLetter, body: handedOver,
			own:     "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201",
			foreign: "201 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 403 201"},
		{op: "ladder-get",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "ladder-list",
			own: "200 200 200 200  403 403 403 403  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "ladder-put", fresh: "ladder_id", body: newLadder,
			own:     "403 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 201 403",
			foreign: "403 403 403 201  403 403 403 403  401 401 403 401 401 401  403 403 403 403  403 201 403"},

		{op: "door-report-put", fresh: "report_id",
			own:     "201 201 403 201  201 201 201 403  401 401 403 401 401 401  403 403 201 403  403 403 201",
			foreign: "201 201 403 201  404 404 404 403  401 401 403 401 401 401  403 403 201 403  403 403 201"},
		{op: "door-report-list",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "report-put", fresh: "report_id", body: newSiteReport,
			own:     "201 201 403 201  201 201 201 403  401 401 403 401 401 401  403 403 201 403  403 403 201",
			foreign: "201 201 403 201  404 404 404 403  401 401 403 401 401 401  403 403 201 403  403 403 201"},
		{op: "report-list",
			own: "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "report-get",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "report-pdf",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "report-html",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},
		{op: "report-csv",
			own:     "200 200 200 200  200 200 200 200  401 401 403 401 401 401  200 403 403 403  200 403 403",
			foreign: "200 200 200 200  404 404 404 404  401 401 403 401 401 401  200 403 403 403  200 403 403"},

		{op: "me-password-put", body: anotherPassword,
			own: "204 204 204 204  204 204 204 204  401 401 204 401 401 401  403 403 403 403  403 403 403"},
	}
}

// Bodies. Those of new things have new ids, the others say again what is there: the rows do not depend on each other.

func fixed(body any) func(cell) any { return func(cell) any { return body } }

func credentials(c cell) any { return object{"email": c.who.email, "password": c.who.password} }

func anotherPassword(c cell) any {
	return object{"present": c.who.password, "next": "another calm morning at the weir"}
}

func triedList(cell) any {
	return object{"file_name": "list.csv", "file": []byte("Customer,Account\nWeir Foods,77\n"), "dry_run": true}
}

func newPerson(c cell) any {
	return object{"email": c.id + "@lintel.example", "name": c.on.word + " somebody", "role": "owner_agent", "scope_kind": "customers", "customers": []string{c.on.ids["customer_id"]}}
}

func newToken(c cell) any {
	return object{"name": "for a moment", "scopes": []string{"read"}, "expires_at": c.w.now.AddDate(0, 0, 1)}
}

func newQualification(c cell) any {
	return object{"scheme": c.on.word + " scheme", "number": c.id, "valid_from": "2025-01-01"}
}

func newCustomer(c cell) any { return object{"name": c.on.word + " customer"} }

func newSite(c cell) any { return with(c.w.siteBody(c.on), "name", c.on.word+" annexe") }

func sameOwner(c cell) any {
	return object{"customer_id": c.on.ids["customer_id"], "day": "2026-03-01"}
}

func newParty(c cell) any { return object{"name": c.on.word + " firm"} }

func newStanding(c cell) any {
	return object{"party_id": c.on.ids["party_id"], "role": "payer", "from_day": "2025-06-01"}
}

func newCode(c cell) any { return object{"code": c.w.secret("code of " + c.id)} }

func newSiteReport(c cell) any { return object{"kind": "site", "site_id": c.on.ids["site_id"]} }

func newModel(c cell) any {
	return object{"maker": "Halvorsen Sensing", "name": "Wren " + c.id, "kind": "sensor", "sensing": "radar"}
}

// newModelCorrection and newAccessoryCorrection name another figure each time: one that holds already is refused.
func newModelCorrection(c cell) any {
	return object{"why": "a misprint", "frequency_hz": 24e9 + float64(crc32.ChecksumIEEE([]byte(c.id)))}
}

func newAccessoryCorrection(c cell) any {
	return object{"why": "measured", "effect": object{"cut_off_deg": 60 + float64(crc32.ChecksumIEEE([]byte(c.id))>>8)/1e7}}
}

func newInstrument(c cell) any {
	return object{"kind": "force_gauge", "name": "Gauge " + c.id, "calibrated_on": "2026-01-05", "calibrated_until": "2027-01-04", "uncertainty": object{"N": 2.5}}
}

func newAccessory(c cell) any {
	return object{"kind": "spacer", "name": "Block " + c.id, "effect": object{"out_m": 0.05}}
}

func newDoor(c cell) any {
	return object{"site_id": c.on.ids["site_id"], "name": c.on.word + " side door", "reason": c.on.word + " new", "effective_at": c.w.yearAgo(), "facts": doorFacts(c.on.word)}
}

func newComponent(c cell) any {
	return object{"door_id": c.on.ids["door_id"], "kind": "battery", "model_text": c.on.word + " battery", "reason": c.on.word + " new", "fitting": object{"state": "fitted", "side": "none"}}
}

func newRevision(c cell) any {
	return object{"standing": "intended", "reason": c.on.word + " planned", "device": c.w.deviceFacts(-1)}
}

func newWalkTest(c cell) any {
	said := c.w.walkTest(c.on)
	delete(said, "component_id")
	return said
}

func newWhatIf(cell) any {
	return object{"changes": []object{{"name": "reach_db", "value": "-6"}}}
}

func endedPlan(c cell) any {
	return object{"interval_months": 12, "regime": "anniversary", "tolerance_days": 60, "lead_days": 45, "anchor_on": "2020-01-01", "active": false}
}

func newOrder(c cell) any {
	return object{"door_id": c.on.ids["door_id"], "kind": "repair", "due_on": "2026-04-01", "note": c.on.word + " squeaks"}
}

func newLadder(c cell) any {
	return object{"effective_on": "2026-03-04", "reason": c.on.word + " wants it later", "unsafe_again_hours": 24, "office_time_zone": "UTC", "mail_from": "08:00", "mail_until": "18:00",
		"rungs": []object{{"code": "late", "offset_days": 1, "to": []string{"owner"}}}}
}

// ownPack is the text of a pack of the company's own.
func ownPack(id string) string {
	_, edition, _ := strings.Cut(id, "@")
	return "id: " + id + "\ntitle: House rules\ncaution: Invented.\nstandard: House rules\nedition: \"" + edition + "\"\nrole: company\njurisdiction: any\n" +
		"applies_to: {kinds: [revolving], energies: [full]}\nrules:\n  - id: label\n    title: Label\n    asks: The label is there.\n    pass: reading.signs_present\n" +
		"    severity: advisory\n    standing: common_practice\n    source: {note: rule of the house}\n"
}

func aNewPack(c cell) map[string]string { return one("pack", "house-"+c.id+"@1") }

func newPack(c cell) any { return object{"text": ownPack(aNewPack(c)["pack"])} }

func newActivation(c cell) any {
	return object{"name": "house", "edition": "1", "from_day": "2060-01-01", "why": c.on.word + " wants it later"}
}

// theLetter is the letter about the findings of a place.
func theLetter(c cell) map[string]string { return map[string]string{"report_id": c.on.letter} }

func handedOver(c cell) any {
	return object{"way": "handed_over", "to_name": c.on.word + " caretaker", "by_name": c.on.word + " technician", "on": c.w.now.Format("2006-01-02")}
}

// aReport is that a letter of the place is delayed.
func aReport(c cell) any {
	return []byte("From: relay@example.net\r\nTo: bounces+" + c.on.ids["letter_id"] + "@lintel.example\r\n" +
		"Content-Type: multipart/report; report-type=delivery-status; boundary=cut\r\n\r\n--cut\r\nContent-Type: message/delivery-status\r\n\r\n" +
		"Reporting-MTA: dns; example.net\r\n\r\nAction: delayed\r\nStatus: 4.4.1\r\n\r\n--cut--\r\n")
}

func whatWasFound(c cell) any { return object{"why": c.on.word + " was written in the van"} }

func sameReason(c cell) any { return object{"reason": c.on.word + " sold"} }

func newAttendance(c cell) any { return c.w.attendance(c.on) }

func newNote(c cell) any {
	return object{"door_id": c.on.ids["door_id"], "kind": "note", "observed_at": c.w.now, "note": object{"text": c.on.word + " is oiled"}}
}

func sameSignature(c cell) any { return c.on.signOff }

func samePhoto(c cell) any { return c.on.photo }

// Ids that are not those of the place.

func unsafeFindings(c cell) any { return object{"findings": []string{c.on.ids["case_id"]}} }

func newDecision(c cell) any { return object{"observed_at": c.w.now, "decision": c.on.declined()} }

func newDismissal(c cell) any {
	return object{"observed_at": c.w.now, "reason": c.on.word + " was looked at again"}
}

func shownText(c cell) map[string]string { return one("sha256", c.on.shown) }

func oneself(c cell) map[string]string {
	if c.own {
		return one("person_id", c.who.id)
	}
	return nil
}

func someSession(c cell) map[string]string {
	if !c.own {
		return one("session_id", c.on.session)
	}
	id := c.id
	if c.who.secret != "" {
		_, id = c.w.anotherSession(c.who.id)
	}
	return one("session_id", id)
}

func someToken(c cell) map[string]string {
	if !c.own {
		return one("token_id", c.on.token)
	}
	id := c.id
	if c.who.secret != "" {
		id = c.w.anotherToken(c.who.id)
	}
	return map[string]string{"person_id": c.who.id, "token_id": id}
}

func inCatalogue(c cell) map[string]string {
	return map[string]string{"model_id": c.w.model, "accessory_id": c.w.hood, "instrument_id": c.w.gauge, "pack": "a156.10@2005", "symptom": "stays_open", "import_id": c.w.imported, "route_plan_id": c.w.rounds}
}

func theTechnician(c cell) map[string]string {
	return map[string]string{"person_id": c.w.by["technician"].id}
}

func newTerms(cell) any { return workingTerms() }

func newHours(cell) any { return visitingHours() }

func sameCompletion(c cell) any {
	return object{"done_on": "2026-03-02", "reason": c.on.word + " on paper"}
}

func doneByHand(c cell) map[string]string { return one("work_order_id", c.on.done) }

func reopened(c cell) map[string]string { return one("work_order_id", c.on.reopened) }

func cancelled(c cell) map[string]string { return one("work_order_id", c.on.ended) }

func pressed(c cell) map[string]string { return one("entry_id", c.on.pressed) }

func walked(c cell) map[string]string { return one("entry_id", c.on.walked) }

func openVisit(c cell) map[string]string { return one("visit_id", c.on.opened) }

func one(name, id string) map[string]string { return map[string]string{name: id} }

// address is where an operation is.
type address struct {
	method, pattern string
	op              *huma.Operation // nil: none of the contract's
}

// addresses gives every route that the face has, by the operation's id, or by method and path where there is none.
func addresses(t testing.TB, handler http.Handler, contract *huma.OpenAPI) map[string]address {
	t.Helper()
	found := map[string]address{}
	err := chi.Walk(handler.(chi.Routes), func(method, pattern string, _ http.Handler, _ ...func(http.Handler) http.Handler) error {
		found[method+" "+pattern] = address{method: method, pattern: pattern}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for pattern, item := range contract.Paths {
		for method, op := range map[string]*huma.Operation{"GET": item.Get, "PUT": item.Put, "POST": item.Post, "DELETE": item.Delete, "PATCH": item.Patch, "HEAD": item.Head, "OPTIONS": item.Options} {
			if op == nil {
				continue
			}
			if _, ok := found[method+" "+pattern]; !ok {
				t.Errorf("the contract has %s %s, which is not served", method, pattern)
			}
			delete(found, method+" "+pattern)
			found[op.OperationID] = address{method, pattern, op}
		}
	}
	return found
}

func TestEveryRouteHasARowAndEveryRowARoute(t *testing.T) {
	face := contract(t)
	served := addresses(t, face.Handler(), face.OpenAPI())
	rows := map[string]bool{}
	for _, r := range matrix() {
		if rows[r.op] {
			t.Errorf("%s has two rows", r.op)
		}
		rows[r.op] = true
		at, ok := served[r.op]
		if !ok {
			t.Errorf("%s has a row and is not served", r.op)
		}
		for _, statuses := range []string{r.own, r.foreign} {
			if n := len(strings.Fields(statuses)); n != len(kinds()) && statuses != "" {
				t.Errorf("%s has %d statuses for %d kinds of people", r.op, n, len(kinds()))
			}
		}
		if names := placesIn(at.pattern); r.foreign == "" && len(names) > 0 && !slices.Contains([]string{"model_id", "accessory_id", "instrument_id", "pack", "activation_id", "import_id", "route_plan_id"}, names[0]) {
			t.Errorf("%s is about somebody's %s and has no row for a foreign one", r.op, names[0])
		}
	}
	for _, op := range slices.Sorted(maps.Keys(served)) {
		if !rows[op] {
			t.Errorf("%s is served and has no row: say who may", op)
		}
	}
}

func placesIn(pattern string) (names []string) {
	for _, m := range regexp.MustCompile(`\{(\w+)\}`).FindAllStringSubmatch(pattern, -1) {
		names = append(names, m[1])
	}
	return names
}

// try is a cell with what is expected of it.
type try struct {
	cell
	target  string
	status  int
	request request
	secret  string
	unknown *request // the same of something that is not there
}

// tries are all the cells of a row. Outsiders also ask for what some of them see: of the same customer, and of another.
func (w *world) tries(r row, at address) (list []try) {
	theirs, others := strings.Fields(r.own), strings.Fields(r.foreign)
	for i, who := range w.asking {
		add := func(target, status string) {
			n, err := strconv.Atoi(status)
			if err != nil {
				w.t.Fatal(err)
			}
			list = append(list, w.try(r, at, who, target, n))
		}
		add(own, theirs[i])
		if r.foreign == "" {
			continue
		}
		add(foreign, others[i])
		if !who.scoped || r.self {
			continue
		}
		for _, target := range []string{sibling, neighbour} {
			status := others[i]
			if slices.Contains(who.sees, target) {
				status = theirs[i]
			}
			add(target, status)
			same := list[len(list)-1].request
			if r.fresh == "" && reflect.DeepEqual(same, list[len(list)-3].request) { // a thing of both places
				list = list[:len(list)-1]
			}
		}
	}
	return list
}

func (w *world) try(r row, at address, who *somebody, target string, status int) try {
	c := cell{w: w, who: who, on: w.places[target], own: target == own, id: w.id().String()}
	t := try{cell: c, target: target, status: status, secret: who.secret, request: c.request(r, at)}
	if r.spare && status < 400 {
		t.secret, _ = w.anotherSession(who.id)
	}
	if status == http.StatusNotFound {
		c.on = w.nowhere()
		unknown := c.request(r, at)
		unknown.body = t.request.body
		t.unknown = &unknown
	}
	return t
}

// request fills the operation's path with ids.
func (c cell) request(r row, at address) request {
	ids := maps.Clone(c.on.ids)
	if r.ids != nil {
		maps.Copy(ids, r.ids(c))
	}
	if r.fresh != "" {
		ids[r.fresh] = c.id
	}
	path := at.pattern
	for _, name := range placesIn(at.pattern) {
		if ids[name] == "" {
			c.w.t.Fatalf("%s: no %s", r.op, name)
		}
		path = strings.Replace(path, "{"+name+"}", ids[name], 1)
	}
	var body any
	if r.body != nil {
		body = r.body(c)
	}
	return newRequest(at.method, path, body)
}

// send asks with bytes as they are.
func (w *world) send(q request, secret string) answer {
	w.t.Helper()
	r := httptest.NewRequestWithContext(w.t.Context(), q.method, q.path, bytes.NewReader(q.body))
	if q.body != nil {
		r.Header.Set("Content-Type", q.mediaType)
	}
	if secret != "" {
		r.Header.Set("Authorization", "Bearer "+secret)
	}
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, r)
	return answerOf(rec)
}

// everything is a fingerprint of all that is kept, a line a table, but for the count of failed sign-ins.
func (f *face) everything(t testing.TB) string {
	t.Helper()
	var each string // PostgreSQL itself writes the statement
	err := f.db.Admin.QueryRow(t.Context(), `select string_agg(format($f$select %L || count(*) || ' ' || coalesce(md5(string_agg(t::text, ',' order by t::text)), '') as line from %I t$f$, relname || ' ', relname), ' union all ')
		from pg_class where relkind = 'r' and relnamespace = 'public'::regnamespace and relname <> 'sign_in_failure'`).Scan(&each)
	if err != nil {
		t.Fatal(err)
	}
	var text string
	if err := f.db.Admin.QueryRow(t.Context(), `select string_agg(line, E'\n' order by line) from (`+each+`) l`).Scan(&text); err != nil {
		t.Fatal(err)
	}
	return text
}

// changes names the tables in which two fingerprints differ.
func changes(before, after string) (tables []string) {
	was := map[string]bool{}
	for _, line := range strings.Split(before, "\n") {
		was[line] = true
	}
	for _, line := range strings.Split(after, "\n") {
		if !was[line] {
			tables = append(tables, line[:strings.Index(line, " ")])
		}
	}
	return tables
}

func TestEveryKindOfPersonGetsOfEveryOperationWhatTheMatrixSays(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	served := addresses(t, w.handler, contract(t).OpenAPI())
	w.listsShowWhatIsTheirs(t)
	for _, r := range matrix() {
		t.Run(strings.ReplaceAll(strings.TrimPrefix(r.op, "GET /"), "/", "_"), func(t *testing.T) {
			w.t = t
			tries := w.tries(r, served[r.op])
			before := w.everything(t)
			for _, one := range tries {
				if one.status >= 400 {
					w.check(t, r, one)
				}
			}
			if changed := changes(before, w.everything(t)); len(changed) > 0 {
				t.Errorf("what was refused has changed %v", changed)
			}
			for _, one := range tries {
				if one.status < 400 {
					w.check(t, r, one)
				}
			}
		})
	}
	w.t = t
	for secret := range w.secrets {
		if strings.Contains(w.log.String(), secret) {
			t.Errorf("the log tells %q", secret)
		}
	}
}

// check asks, and holds the answer against everything that is promised of answers.
func (w *world) check(t *testing.T, r row, one try) {
	t.Helper()
	got := w.send(one.request, one.secret)
	about := fmt.Sprintf("%s: %s %s (%s)", one.who.kind, one.request.method, one.request.path, one.target)
	if got.status != one.status {
		t.Errorf("%s: got %d, want %d: %.300s", about, got.status, one.status, got.text)
		return
	}
	w.checkSecrets(t, about, r, got)
	if got.status >= 400 {
		checkProblem(t, about, got)
		if code := one.who.refusal(r.op, got.status); got.member("code") != code && code != "" {
			t.Errorf("%s: refused with %q, want %q", about, got.member("code"), code)
		}
		if one.unknown != nil {
			unknown := w.send(*one.unknown, one.secret)
			if a, b := withoutRequestID(got), withoutRequestID(unknown); a != b {
				t.Errorf("%s: what is not theirs reads %s, what is not there %s", about, a, b)
			}
		}
		return
	}
	if one.who.scoped {
		for _, h := range w.hidden(one.who) {
			if strings.Contains(got.text, h) && !strings.Contains(one.request.path, h) {
				t.Errorf("%s: the answer holds %q, which is not theirs: %.300s", about, h, got.text)
			}
		}
		if strings.Contains(got.text, `"origin":"computed"`) || strings.Contains(got.text, `"own_leaf":"`) {
			t.Errorf("%s: the answer holds what only computation says: %.300s", about, got.text)
		}
	}
	if one.who.kind == "auditor" && strings.HasPrefix(one.request.path, "/v1/") && one.request.path != "/v1/sessions" {
		var n int
		if err := w.db.Admin.QueryRow(t.Context(), `select count(*) from audit_event where action = 'read' and person_id = $1 and subject_kind = $2 and subject_id = $3 and request_id = $4`,
			one.who.id, r.op, one.request.path, got.header.Get("X-Request-Id")).Scan(&n); err != nil || n != 1 {
			t.Errorf("%s: %d events of the auditor's reading on record, %v", about, n, err)
		}
	}
}

// refusal is the code with which somebody is refused; "" where it depends on the thing.
func (who *somebody) refusal(op string, status int) string {
	switch {
	case status == http.StatusUnauthorized && op == "session-create":
		return "sign_in_failed"
	case status == http.StatusUnauthorized && who.kind == "nobody":
		return "sign_in_needed"
	case status == http.StatusUnauthorized:
		return "session_ended"
	case status == http.StatusForbidden && who.kind == "administrator with a one-time password":
		return "password_change_needed"
	case status == http.StatusForbidden:
		return "not_allowed"
	}
	return ""
}

func withoutRequestID(a answer) string {
	members := maps.Clone(a.members)
	delete(members, "request_id")
	text, _ := json.Marshal(members)
	return fmt.Sprintf("%d %s %s", a.status, a.header.Get("Content-Type"), text)
}

// checkProblem holds an answer against RFC 9457 and what we add to it.
func checkProblem(t testing.TB, about string, a answer) {
	t.Helper()
	if got := a.header.Get("Content-Type"); got != "application/problem+json" {
		t.Errorf("%s: a problem of type %q", about, got)
	}
	if status, _ := a.members["status"].(float64); int(status) != a.status {
		t.Errorf("%s: status %v within %d", about, a.members["status"], a.status)
	}
	for _, name := range []string{"title", "detail", "code"} {
		if a.member(name) == "" {
			t.Errorf("%s: a problem without %s: %s", about, name, a.text)
		}
	}
	if a.member("title") != http.StatusText(a.status) || a.member("request_id") == "" || a.member("request_id") != a.header.Get("X-Request-Id") {
		t.Errorf("%s: title or request id: %s", about, a.text)
	}
	if strings.ContainsAny(a.text, "⟦⟧") {
		t.Errorf("%s: a text is missing: %s", about, a.text)
	}
	if a.status == http.StatusUnauthorized && a.header.Get("WWW-Authenticate") == "" {
		t.Errorf("%s: 401 without WWW-Authenticate", about)
	}
}

// gives names the operations whose answers tell a secret, and the member that does, once.
func gives() map[string]string {
	return map[string]string{"session-create": "secret", "token-create": "secret", "person-put": "one_time_password", "person-password-reset": "one_time_password",
		"key-safe-code-reveal": "code", "lock-code-reveal": "code"}
}

func (w *world) checkSecrets(t *testing.T, about string, r row, a answer) {
	t.Helper()
	text, given := a.text+fmt.Sprint(a.header), ""
	if member := gives()[r.op]; member != "" && a.status < 400 {
		if given = a.member(member); given == "" {
			t.Errorf("%s: gives no %s: %s", about, member, a.text)
			return
		}
		text = strings.ReplaceAll(text, given, "")
		defer w.secret(given)
	}
	for secret := range w.secrets {
		if strings.Contains(text, secret) {
			t.Errorf("%s: the answer tells %q", about, secret)
		}
	}
}

// listsShowWhatIsTheirs asks outsiders for the lists of the register and of the work, before anything else is made:
// what they see stands there, and what they do not see does not.
func (w *world) listsShowWhatIsTheirs(t *testing.T) {
	for path, name := range map[string]string{
		"/v1/customers": "customer_id", "/v1/sites": "site_id", "/v1/parties": "party_id", "/v1/doors": "door_id", "/v1/findings": "case_id", "/v1/work-orders": "work_order_id",
		"/v1/visits": "visit_id", "/v1/out-of-service-cases": "case_id",
	} {
		for _, who := range w.asking {
			if !who.scoped {
				continue
			}
			got := w.send(newRequest(http.MethodGet, path+"?limit=200", nil), who.secret)
			for place, p := range w.places {
				if is, want := strings.Contains(got.text, p.ids[name]), contains(who.sees, place) || name == "customer_id" && place == sibling; is != want {
					t.Errorf("%s: %s of %s is in %s: %v", who.kind, name, place, path, is)
				}
			}
			for _, h := range w.hidden(who) {
				if strings.Contains(got.text, h) {
					t.Errorf("%s: %s holds %q", who.kind, path, h)
				}
			}
		}
	}
	staff := w.send(newRequest(http.MethodGet, "/v1/findings?limit=200&origin=computed", nil), w.by["dispatcher"].secret)
	for place, p := range w.places {
		if !strings.Contains(staff.text, p.ids["door_id"]) {
			t.Errorf("nothing was computed at the door of %s: nothing to hide", place)
		}
		for _, who := range w.asking {
			if got := w.send(newRequest(http.MethodGet, "/v1/findings?origin=computed&door_id="+p.ids["door_id"], nil), who.secret); who.scoped && got.text != "{\"findings\":[]}\n" {
				t.Errorf("%s: computed findings of %s: %s", who.kind, place, got.text)
			}
		}
	}
}

func TestTheMatrixIsWrittenOut(t *testing.T) {
	face := contract(t)
	served := addresses(t, face.Handler(), face.OpenAPI())
	var b strings.Builder
	b.WriteString("# Who may do what\n\nWritten by `go test ./api -update` from `matrix_test.go`, where it is changed. Every status was asked for and answered.\n" +
		"own: a thing that the outsiders see. foreign: a thing of a customer whom no outsider sees; it reads as if it were not there.\n\n")
	for i, kind := range kinds() {
		fmt.Fprintf(&b, "%d. %s\n", i+1, kind)
	}
	b.WriteString("\n| operation | address | of |")
	for i := range kinds() {
		fmt.Fprintf(&b, " %d |", i+1)
	}
	b.WriteString("\n|" + strings.Repeat(" --- |", 3+len(kinds())) + "\n")
	for _, r := range matrix() {
		at := served[r.op]
		name := r.op
		if at.op == nil {
			name = ""
		}
		fmt.Fprintf(&b, "| %s | `%s %s` | %s | %s |\n", name, at.method, at.pattern, "own", strings.Join(strings.Fields(r.own), " | "))
		if r.foreign != "" {
			fmt.Fprintf(&b, "| | | foreign | %s |\n", strings.Join(strings.Fields(r.foreign), " | "))
		}
	}
	if *update {
		if err := os.WriteFile("matrix.md", []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("matrix.md")
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Error("matrix.md is not what the rows say: run `go test ./api -update` and review the difference")
	}
}
