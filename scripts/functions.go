package scripts

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	lua "github.com/yuin/gopher-lua"
)

// register gives a script the function of every call, those with a dot in their
// name in tables of their own.
func (c *child) register(L *lua.LState, globals *lua.LTable) {
	members := map[string][]string{}
	for _, call := range Calls {
		group, name, dotted := strings.Cut(call.Name, ".")
		if !dotted {
			globals.RawSetString(call.Name, L.NewFunction(c.function(call)))
			continue
		}
		members[group] = append(members[group], name)
		table, ok := globals.RawGetString(group).(*lua.LTable)
		if !ok {
			table = L.NewTable()
			globals.RawSetString(group, table)
		}
		table.RawSetString(name, L.NewFunction(c.function(call)))
	}
	for group, names := range sorted(members) {
		slices.Sort(names)
		unknown := L.NewTable()
		unknown.RawSetString("__index", L.NewFunction(fieldOf(group, names)))
		L.SetMetatable(globals.RawGetString(group), unknown)
	}
}

// function makes the Lua function of a call.
func (c *child) function(call Call) lua.LGFunction {
	return func(L *lua.LState) int {
		given, err := fromLua(L, call)
		if err != nil {
			c.raise(L, "argument", err.Error())
		}
		values := c.invoke(L, call, given)
		for _, v := range values {
			L.Push(v)
		}
		return len(values)
	}
}

// invoke checks the arguments, asks the host and returns its result, one value or
// two, or raises its error.
func (c *child) invoke(L *lua.LState, call Call, given map[string]any) []lua.LValue {
	checked, err := call.Check(given)
	if err != nil {
		c.raise(L, "argument", err.Error())
	}
	arguments, err := encode(checked)
	if err != nil {
		c.raise(L, "argument", err.Error())
	}
	if !c.budget.stop() {
		// The time is over; the next instruction ends the script.
		L.RaiseError("%v", c.budget.context.Err())
	}
	defer c.budget.restart()
	if err := send(c.stdout, request{Call: call.Name, Arguments: arguments, Line: currentLine(L)}); err != nil {
		L.RaiseError("the pipe to the bench is broken: %v", err)
	}
	r := <-c.replies
	if r.Error != nil {
		c.raise(L, r.Error.Kind, r.Error.Message)
	}
	var result any
	if len(r.Result) > 0 {
		if err := json.Unmarshal(r.Result, &result); err != nil {
			L.RaiseError("%s: result not understood: %v", call.Name, err)
		}
	}
	if kind, message, ok := recordedError(result); ok {
		c.raise(L, kind, message)
	}
	if call.Result.Second == nil {
		return []lua.LValue{toLua(L, call.Result, result)}
	}
	both, _ := result.([]any)
	if len(both) != 2 {
		L.RaiseError("%s: result not understood: wanted a list of two", call.Name)
	}
	return []lua.LValue{toLua(L, call.Result, both[0]), toLua(L, *call.Result.Second, both[1])}
}

// recordedError takes apart a result that is an error: see [Host].
func recordedError(result any) (kind, message string, ok bool) {
	table, _ := result.(map[string]any)
	e, ok := table["error"].(map[string]any)
	if !ok || len(table) != 1 {
		return "", "", false
	}
	kind, _ = e["kind"].(string)
	message, _ = e["message"].(string)
	return kind, message, true
}

// raise raises an error table: it survives pcall with its fields, and shows
// itself with file and line.
func (c *child) raise(L *lua.LState, kind, message string) {
	line := currentLine(L)
	failure := L.NewTable()
	failure.RawSetString("message", lua.LString(message))
	failure.RawSetString("kind", lua.LString(kind))
	failure.RawSetString("file", lua.LString(c.script.Name))
	failure.RawSetString("line", lua.LNumber(line))
	shown := (&ScriptError{File: c.script.Name, Line: line, Message: message}).Error()
	meta := L.NewTable()
	meta.RawSetString("__tostring", L.NewFunction(func(L *lua.LState) int {
		L.Push(lua.LString(shown))
		return 1
	}))
	L.SetMetatable(failure, meta)
	L.Error(failure, 0)
}

// currentLine is the script line that is being executed: the nearest frame that
// is Lua, since pcall(cycle, …) puts Go frames between.
func currentLine(L *lua.LState) int {
	for level := 0; ; level++ {
		frame, ok := L.GetStack(level)
		if !ok {
			return 0
		}
		if _, err := L.GetInfo("l", frame, lua.LNil); err == nil && frame.CurrentLine > 0 {
			return frame.CurrentLine
		}
	}
}

// print is log with its arguments joined by tabs.
func (c *child) print(L *lua.LState) int {
	var parts []string
	for i := 1; i <= L.GetTop(); i++ {
		parts = append(parts, toText(L, L.Get(i)))
	}
	log, _ := LookupCall("log")
	c.invoke(L, log, map[string]any{"text": strings.Join(parts, "\t")})
	return 0
}

// mathRandom is math.random on the host's recorded numbers.
func (c *child) mathRandom(L *lua.LState) int {
	low, high := 1.0, 0.0
	switch L.GetTop() {
	case 0:
	case 1:
		high = float64(L.CheckNumber(1))
	case 2:
		low, high = float64(L.CheckNumber(1)), float64(L.CheckNumber(2))
	default:
		L.RaiseError("math.random: takes at most two numbers")
	}
	if L.GetTop() > 0 && !(low == math.Trunc(low) && high == math.Trunc(high) && low <= high && high-low < 1<<53) {
		L.RaiseError("math.random: found %s to %s; wanted whole numbers, the lower first", number(low), number(high))
	}
	random, _ := LookupCall("random")
	u, ok := c.invoke(L, random, nil)[0].(lua.LNumber)
	if !ok {
		L.RaiseError("math.random: the bench gave no number")
	}
	if L.GetTop() > 0 {
		u = lua.LNumber(low + math.Floor(float64(u)*(high-low+1)))
	}
	L.Push(u)
	return 1
}

// fromLua collects the arguments of a call: positional ones first, then one
// table with the other options.
func fromLua(L *lua.LState, call Call) (map[string]any, error) {
	given := map[string]any{}
	next, named := 1, false
	for _, o := range call.Options {
		if !o.Positional {
			named = true
			continue
		}
		if v := L.Get(next); v != lua.LNil {
			value, err := plain(v)
			if err != nil {
				return nil, fmt.Errorf("%s: %s: %w", call.Name, o.Name, err)
			}
			given[o.Name] = value
		}
		next++
	}
	if named {
		if err := options(call, L.Get(next), given); err != nil {
			return nil, err
		}
		next++
	}
	if L.GetTop() >= next {
		return nil, fmt.Errorf("%s: found %d arguments; allowed: %d", call.Name, L.GetTop(), next-1)
	}
	return given, nil
}

// options reads the option table v into given.
func options(call Call, v lua.LValue, given map[string]any) error {
	table, ok := v.(*lua.LTable)
	if v == lua.LNil {
		return nil
	}
	if !ok {
		return fmt.Errorf("%s: found %s; wanted a table of options, as %s{ … }; allowed: %s",
			call.Name, describe(v), call.Name, call.allowed())
	}
	var err error
	table.ForEach(func(key, v lua.LValue) {
		name, ok := key.(lua.LString)
		switch {
		case err != nil:
		case !ok:
			err = fmt.Errorf("%s: found %s without a name; write name = value; allowed: %s", call.Name, describe(v), call.allowed())
		default:
			given[string(name)], err = optionValue(call, string(name), v)
		}
	})
	return err
}

// optionValue turns the value of one option into what Check takes.
func optionValue(call Call, name string, v lua.LValue) (any, error) {
	for _, o := range call.Options {
		if nested, ok := v.(*lua.LTable); ok && o.Name == name && o.Kind == Table {
			fields := map[string]any{}
			return fields, options(Call{Name: o.Name, Options: o.Fields}, nested, fields)
		}
	}
	value, err := plain(v)
	if err != nil {
		return nil, fmt.Errorf("%s: %s: %w", call.Name, name, err)
	}
	return value, nil
}

// plain turns a Lua value into what Check takes: text, number, true or false, or
// a flat list of these.
func plain(v lua.LValue) (any, error) {
	switch v := v.(type) {
	case lua.LString:
		return string(v), nil
	case lua.LNumber:
		return float64(v), nil
	case lua.LBool:
		return bool(v), nil
	case *lua.LTable:
		return list(v)
	}
	return nil, fmt.Errorf("found a %s; wanted text, a number or a list", v.Type())
}

func list(table *lua.LTable) (any, error) {
	var items []any
	var err error
	expected := 1
	table.ForEach(func(key, v lua.LValue) {
		if err != nil {
			return
		}
		switch {
		case key != lua.LNumber(expected):
			err = fmt.Errorf("found the key %s in a list; entry %d is missing or the list has named entries", describe(key), expected)
		case v.Type() == lua.LTTable:
			err = errors.New("found a list inside a list")
		default:
			var item any
			item, err = plain(v)
			items = append(items, item)
			expected++
		}
	})
	return items, err
}
