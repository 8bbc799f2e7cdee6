// Package usbguest tests links against a real Linux kernel without hardware. It
// boots Debian's kernel under QEMU with nothing in it but one Go test binary.
// That binary is two processes in the guest: the first is init and plays USB
// instruments, which it attaches to the kernel over USB/IP; the second is the
// test, which finds /dev/usbtmc0 as on any computer.
//
// Two processes they must be: the driver holds a lock while it waits for the
// instrument, and an instrument in the same process may wait for that lock.
//
// The USB side follows the USB Test and Measurement Class specification 1.0 and
// its subclass USB488, the messages to the kernel its documentation of the
// USB/IP protocol. Limits: there is no host controller, so nothing is said of
// packet timing, suspended buses or bad cables.
package usbguest
