package scripts

import (
	"fmt"
	"reflect"
	"strings"
)

// Annotations writes the calls as an editor's type annotations (LuaLS, ---@meta),
// so that an editor completes names and shows what a call takes and returns.
func Annotations() []byte {
	var b strings.Builder
	b.WriteString("---@meta\n")
	b.WriteString("-- What a ringup script may call. Generated from the call table; do not edit.\n\n")
	b.WriteString("---Volts as a number, or with a unit: \"3.3 V\", \"3300 mV\".\n---@alias Volts number|string\n\n")
	b.WriteString("---Seconds as a number, or with a unit: \"250 ms\", \"1.5 s\", \"10 min\", \"8 h\".\n---@alias Seconds number|string\n\n")
	b.WriteString("---What pcall returns when a call was refused; tostring shows it with file and line.\n---@class CallError\n")
	for _, f := range []Field{{"message", "string", "what is wrong and what to do"}, {"kind", "string", `"argument"; "limit"; of a script's own cycle "interrupted", "instrument", "over-current"; else "error"`},
		{"file", "string", "script"}, {"line", "integer", "line of the call"}} {
		fmt.Fprintf(&b, "---@field %s %s %s\n", f.Name, f.Lua, f.Doc)
	}
	b.WriteString("\n")
	b.WriteString("---A share from 0 to 1 as a number, or in percent: 0.01, \"1 %\".\n---@alias Share number|string\n\n")
	written := map[string]bool{}
	for _, c := range Calls {
		if group, _, dotted := strings.Cut(c.Name, "."); dotted && !written[group] {
			written[group] = true
			fmt.Fprintf(&b, "---The %s, for a cycle of the script's own.\n%s = {}\n\n", group, group)
		}
		for r := &c.Result; r != nil; r = r.Second {
			if r.Class == "" || written[r.Class] {
				continue
			}
			written[r.Class] = true
			fmt.Fprintf(&b, "---@class %s\n", r.Class)
			for _, f := range r.Fields {
				fmt.Fprintf(&b, "---@field %s %s %s\n", f.Name, f.Lua, f.Doc)
			}
			b.WriteString("\n")
		}
		annotateCall(&b, c)
	}
	annotateFacts(&b, "unit", "UnitFacts", UnitFacts{})
	annotateFacts(&b, "bench", "BenchFacts", BenchFacts{})
	return []byte(strings.TrimRight(b.String(), "\n") + "\n")
}

func annotateCall(b *strings.Builder, c Call) {
	var parameters []string
	var positional, named strings.Builder
	required := false
	for _, o := range c.Options {
		optional := "?"
		if o.Required {
			optional = ""
		}
		if o.Positional {
			parameters = append(parameters, o.Name)
			fmt.Fprintf(&positional, "---@param %s%s %s %s\n", o.Name, optional, o.lua(), o.doc())
			continue
		}
		required = required || o.Required
		fmt.Fprintf(&named, "---@field %s%s %s %s\n", o.Name, optional, o.lua(), o.doc())
	}
	if named.Len() > 0 {
		class := ""
		for word := range strings.SplitSeq(c.Name, ".") {
			class += strings.ToUpper(word[:1]) + word[1:]
		}
		class += "Options"
		fmt.Fprintf(b, "---@class %s\n%s\n", class, named.String())
		parameters = append(parameters, "options")
		optional := "?"
		if required {
			optional = ""
		}
		fmt.Fprintf(&positional, "---@param options%s %s\n", optional, class)
	}
	fmt.Fprintf(b, "---%s\n%s", c.Doc, positional.String())
	for r := &c.Result; r != nil; r = r.Second {
		if lua := r.lua(); lua != "" {
			fmt.Fprintf(b, "---@return %s # %s\n", lua, r.Doc)
		}
	}
	fmt.Fprintf(b, "function %s(%s) end\n\n", c.Name, strings.Join(parameters, ", "))
}

// lua is the option's type in the editor's notation.
func (o Option) lua() string {
	switch o.Kind {
	case Volts:
		return "Volts"
	case VoltsList:
		return "Volts[]"
	case Seconds:
		return "Seconds"
	case Share:
		return "Share"
	case Table:
		var fields []string
		for _, f := range o.Fields {
			optional := "?"
			if f.Required {
				optional = ""
			}
			fields = append(fields, f.Name+optional+": "+f.lua())
		}
		return "{ " + strings.Join(fields, ", ") + " }"
	case Count:
		return "integer"
	case Choice:
		return `"` + strings.Join(o.Choices, `"|"`) + `"`
	}
	return "string"
}

// doc is the option's description with its range and default.
func (o Option) doc() string {
	text := o.Doc
	switch o.Kind {
	case Volts, VoltsList, Seconds, Share, Count:
		text += fmt.Sprintf(" (%g to %.10g)", o.Min, o.Max)
	}
	if o.Default != nil && o.Default != "" {
		text += fmt.Sprintf("; default %v", o.Default)
	}
	return text
}

func (r Result) lua() string {
	if r.List {
		return r.Class + "[]"
	}
	return r.Class + r.Lua
}

func annotateFacts(b *strings.Builder, name, class string, facts any) {
	fmt.Fprintf(b, "---@class %s\n", class)
	for field, value := range factFields(facts) {
		lua := map[reflect.Kind]string{reflect.String: "string", reflect.Float64: "number", reflect.Bool: "boolean"}[value.Kind()]
		fmt.Fprintf(b, "---@field %s %s %s\n", field.Tag.Get("json"), lua, field.Tag.Get("doc"))
	}
	fmt.Fprintf(b, "\n---Facts from the bench file, read-only.\n---@type %s\n%s = {}\n\n", class, name)
}
