package scripts

import (
	"math"
	"slices"
	"strings"

	lua "github.com/yuin/gopher-lua"
)

// What a script keeps of the standard libraries. Everything else is left behind:
// files, processes, loading of code, the garbage collector, the real clock and
// real chance. The lists are sorted, which fixes the order of pairs.
var (
	keepBase = []string{"error", "getmetatable", "ipairs", "next", "pcall", "rawequal", "rawget",
		"select", "setmetatable", "tonumber", "type", "unpack", "xpcall"}
	keepMath = []string{"abs", "acos", "asin", "atan", "atan2", "ceil", "cos", "cosh", "deg", "exp", "floor",
		"fmod", "frexp", "ldexp", "log", "log10", "max", "min", "modf", "pi", "pow", "rad", "sin", "sinh",
		"sqrt", "tan", "tanh"}
	keepString = []string{"byte", "char", "find", "gmatch", "gsub", "len", "lower", "match", "reverse", "sub", "upper"}
	keepTable  = []string{"concat", "insert", "maxn", "remove", "sort"}
)

// missing says what to use instead of things that a Lua author may look for.
var missing = map[string]string{
	"os":       "use now() for the time",
	"io":       "use log(text) to write",
	"debug":    "errors carry file and line already",
	"require":  "a script is one file",
	"dofile":   "a script is one file",
	"load":     "a script cannot load code",
	"sleep":    "use wait(\"5 s\")",
	"sprintf":  "use string.format",
	"printf":   "use print or log",
	"continue": "Lua 5.1 has no continue; turn the condition round",
}

// maxText bounds what string.rep and table.concat may build: 16 MiB. Beyond, a
// single instruction could allocate more than the process may have.
const maxText = 16 << 20

// newState makes a Lua state without any library of its own, and the table of
// globals that the script will see.
func newState() (*lua.LState, *lua.LTable) {
	L := lua.NewState(lua.Options{
		SkipOpenLibs:  true,
		CallStackSize: 1000,
		RegistrySize:  1 << 12,
		// The default cannot grow and ends deep but honest scripts.
		RegistryMaxSize: 1 << 20,
	})
	opened(L, lua.OpenBase)
	base := L.Get(lua.GlobalsIndex).(*lua.LTable)
	globals := L.NewTable()
	copyKept(globals, base, keepBase)
	globals.RawSetString("_VERSION", lua.LString(lua.LuaVersion))
	globals.RawSetString("_G", globals)
	globals.RawSetString("assert", L.NewFunction(assert))
	globals.RawSetString("pairs", L.NewFunction(pairs(L, base.RawGetString("pairs"))))
	globals.RawSetString("rawset", L.NewFunction(rawset))
	globals.RawSetString("tostring", L.NewFunction(func(L *lua.LState) int {
		L.Push(lua.LString(toText(L, L.CheckAny(1))))
		return 1
	}))
	mathematics := library(L, globals, lua.OpenMath, lua.MathLibName, keepMath)
	mathematics.RawSetString("huge", lua.LNumber(math.Inf(1)))

	texts := library(L, globals, lua.OpenString, lua.StringLibName, keepString)
	texts.RawSetString("format", L.NewFunction(stringFormat))
	texts.RawSetString("rep", L.NewFunction(stringRep))
	ofStrings := L.NewTable()
	ofStrings.RawSetString("__index", texts)
	ofStrings.RawSetString("__metatable", lua.LString("string"))
	L.SetMetatable(lua.LString(""), ofStrings)

	tables := library(L, globals, lua.OpenTable, lua.TabLibName, keepTable)
	tables.RawSetString("concat", L.NewFunction(tableConcat(tables.RawGetString("concat").(*lua.LFunction))))

	strict := L.NewTable()
	strict.RawSetString("__index", L.NewFunction(undefined))
	strict.RawSetString("__metatable", lua.LString("globals"))
	L.SetMetatable(globals, strict)
	L.Env = globals
	return L, globals
}

// opened runs a library's opener and returns its table.
func opened(L *lua.LState, open lua.LGFunction) *lua.LTable {
	open(L)
	made := L.Get(-1).(*lua.LTable)
	L.Pop(1)
	return made
}

// library puts a fresh table with the kept functions of a library into globals.
// The opener's own table is filled from a Go map, in another order every time.
func library(L *lua.LState, globals *lua.LTable, open lua.LGFunction, name string, keep []string) *lua.LTable {
	fresh := L.NewTable()
	copyKept(fresh, opened(L, open), keep)
	globals.RawSetString(name, fresh)
	return fresh
}

func copyKept(to, from *lua.LTable, keep []string) {
	for _, name := range keep {
		to.RawSetString(name, from.RawGetString(name))
	}
}

// undefined answers the reading of a global that does not exist. Lua would say
// nil, and { 3.6, v_midle, 2.4 } would quietly lose a voltage.
func undefined(L *lua.LState) int {
	name := L.Get(2).String()
	if hint, found := missing[name]; found {
		L.RaiseError("there is no %s here; %s", name, hint)
	}
	var names []string
	L.CheckTable(1).ForEach(func(k, _ lua.LValue) { names = append(names, k.String()) })
	slices.Sort(names)
	L.RaiseError("there is no global %s%s", name, Suggest(name, names))
	return 0
}

// assert is the library's, except that it passes on an error that is a table.
func assert(L *lua.LState) int {
	if L.ToBool(1) {
		return L.GetTop()
	}
	if failure, ok := L.Get(2).(*lua.LTable); ok {
		L.Error(failure, 0)
	}
	L.RaiseError("%s", L.OptString(2, "assertion failed!"))
	return 0
}

// pairs walks read-only tables too.
func pairs(L *lua.LState, original lua.LValue) lua.LGFunction {
	return func(L *lua.LState) int {
		table := L.CheckTable(1)
		if facts := readOnlyFacts(L, table); facts != nil {
			table = facts
		}
		L.Push(original)
		L.Push(table)
		L.Call(1, 3)
		return 3
	}
}

func rawset(L *lua.LState) int {
	table := L.CheckTable(1)
	if readOnlyFacts(L, table) != nil {
		L.RaiseError("this table is read-only")
	}
	table.RawSet(L.CheckAny(2), L.CheckAny(3))
	L.SetTop(1)
	return 1
}

func stringRep(L *lua.LState) int {
	text, n := L.CheckString(1), float64(L.CheckNumber(2))
	if size := float64(len(text)) * n; size > maxText {
		L.RaiseError("string.rep: the result would have %.0f bytes; at most %d are allowed", size, maxText)
	}
	L.Push(lua.LString(strings.Repeat(text, max(0, int(n)))))
	return 1
}

func tableConcat(original *lua.LFunction) lua.LGFunction {
	return func(L *lua.LState) int {
		table, separator := L.CheckTable(1), L.OptString(2, "")
		size := 0
		for i, n := 1, table.Len(); i <= n && size <= maxText; i++ {
			size += len(table.RawGetInt(i).String()) + len(separator)
		}
		if size > maxText {
			L.RaiseError("table.concat: the result would have more than the %d bytes allowed", maxText)
		}
		arguments := L.GetTop()
		L.Insert(original, 1)
		L.Call(arguments, 1)
		return 1
	}
}

// toText is tostring. The library's shows a table's address, which differs in
// every process and would make a replay differ from its record.
func toText(L *lua.LState, v lua.LValue) string {
	switch v.(type) {
	case lua.LNumber, lua.LString, lua.LBool, *lua.LNilType:
		return v.String()
	}
	if L.GetMetaField(v, "__tostring") == lua.LNil {
		return v.Type().String()
	}
	return L.ToStringMeta(v).String()
}
