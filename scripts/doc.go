// Package scripts runs a bench script: what a Lua script may call, the Lua
// engine, and the child process it runs in.
//
// A script is written by a person in a hurry and runs all night, so it gets no
// hold on anything but the calls of the table in calls.go. It runs in a child
// process of the same binary that has no instrument, no file and no network:
//
//	parent                                   child
//	Engine.Run  -- script, facts, limits -->  ChildMain
//	            <-- ready ------------------  compiled
//	            <-- call, arguments, line --  cycle{ volts = 3.3 }
//	Host.Call
//	            -- result or error -------->  a Lua value, or a Lua error
//	            <-- end --------------------  done, or file:line and the reason
//
// Each message is one line of JSON. The child checks arguments to give the
// script's author a good message; the parent checks them again because the child
// may be anything by then. Whatever happens to the child, the parent lives, ends
// the running [Host.Call] through its context, and returns a [ScriptError].
//
// Replay needs a script that takes the same way twice. Therefore a script has no
// clock and no chance of its own (now, random and math.random are calls of the
// host, which records them); pairs walks the list part in order and then the
// other keys in the order in which they were first set, also in the library
// tables; and tostring of a table or function shows no address.
package scripts

//go:generate go test -run ^TestAnnotations$ -update .
