package scripts

import (
	"encoding/json"
	"fmt"
	"reflect"
	"strings"

	lua "github.com/yuin/gopher-lua"
)

// toLua turns a call's result into a Lua value. Keys are set in sorted order, so
// that pairs goes the same way on every replay. Reading a field that the call
// does not return is an error, a field without a value is nil.
func toLua(L *lua.LState, shape Result, value any) lua.LValue {
	if shape.List {
		items, _ := value.([]any)
		table := L.NewTable()
		one := shape
		one.List = false
		for _, item := range items {
			table.Append(toLua(L, one, item))
		}
		return table
	}
	v := anyToLua(L, value)
	if table, ok := v.(*lua.LTable); ok && len(shape.Fields) > 0 {
		meta := L.NewTable()
		meta.RawSetString("__index", L.NewFunction(fieldOf(shape.Class, shape.fieldNames())))
		L.SetMetatable(table, meta)
	}
	return v
}

func (r Result) fieldNames() []string {
	var names []string
	for _, f := range r.Fields {
		names = append(names, f.Name)
	}
	return names
}

func anyToLua(L *lua.LState, value any) lua.LValue {
	switch v := value.(type) {
	case nil:
		return lua.LNil
	case bool:
		return lua.LBool(v)
	case float64:
		return lua.LNumber(v)
	case string:
		return lua.LString(v)
	case []any:
		table := L.NewTable()
		for i, item := range v {
			table.RawSetInt(i+1, anyToLua(L, item))
		}
		return table
	case map[string]any:
		table := L.NewTable()
		for name, item := range sorted(v) {
			table.RawSetString(name, anyToLua(L, item))
		}
		return table
	}
	return lua.LString(fmt.Sprint(value))
}

// fieldOf is an __index that knows the field names: nil for those, an error for
// any other.
func fieldOf(what string, names []string) lua.LGFunction {
	return func(L *lua.LState) int {
		name := L.Get(2).String()
		for _, known := range names {
			if name == known {
				L.Push(lua.LNil)
				return 1
			}
		}
		L.RaiseError("%s has no field %s; it has: %s%s", what, name, strings.Join(names, ", "), Suggest(name, names))
		return 0
	}
}

// factsKey is where a read-only table's metatable keeps the values for pairs.
const factsKey = "facts"

// readOnly makes a table of the fields of facts that a script can read and walk
// but not change.
func readOnly(L *lua.LState, name string, facts any) *lua.LTable {
	values := L.NewTable()
	var names []string
	for field, value := range factFields(facts) {
		text, _ := json.Marshal(value.Interface())
		var plain any
		_ = json.Unmarshal(text, &plain) // just marshalled
		values.RawSetString(field.Tag.Get("json"), anyToLua(L, plain))
		names = append(names, field.Tag.Get("json"))
	}
	unknown := L.NewTable()
	unknown.RawSetString("__index", L.NewFunction(fieldOf(name, names)))
	L.SetMetatable(values, unknown)

	meta := L.NewTable()
	meta.RawSetString("__index", values)
	meta.RawSetString("__newindex", L.NewFunction(func(L *lua.LState) int {
		L.RaiseError("%s is read-only; it holds what the bench file says", name)
		return 0
	}))
	meta.RawSetString("__metatable", lua.LString("read-only"))
	meta.RawSetString(factsKey, values)
	table := L.NewTable()
	L.SetMetatable(table, meta)
	return table
}

// readOnlyFacts returns the values of a table made by readOnly, nil for any other.
func readOnlyFacts(L *lua.LState, table *lua.LTable) *lua.LTable {
	meta, ok := table.Metatable.(*lua.LTable)
	if !ok || meta.RawGetString("__metatable") != lua.LString("read-only") {
		return nil
	}
	facts, _ := meta.RawGetString(factsKey).(*lua.LTable)
	return facts
}

// factFields walks the fields of UnitFacts or BenchFacts.
func factFields(facts any) func(yield func(reflect.StructField, reflect.Value) bool) {
	return func(yield func(reflect.StructField, reflect.Value) bool) {
		v := reflect.ValueOf(facts)
		for i := range v.NumField() {
			if !yield(v.Type().Field(i), v.Field(i)) {
				return
			}
		}
	}
}
