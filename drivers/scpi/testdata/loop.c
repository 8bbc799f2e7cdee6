/*
 * What a query costs at least: a bare loop of write and read, and the instrument for it.
 *
 *   loop serve              answers each line on standard input and output
 *   loop ask COUNT PATH     asks COUNT times at a terminal
 *   loop ask COUNT PORT     asks COUNT times at a TCP port of this computer
 *
 * ask prints how many nanoseconds a query took.
 */
#include <arpa/inet.h>
#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

static const char query[] = "MEASure:VOLTage?\n", reply[] = "+3.600000E+00\n";

static void die(const char *what) { perror(what); exit(1); }

/* line reads up to a line feed; 0 at the end of the wire. */
static int line(int fd) {
	char buffer[256];
	for (;;) {
		ssize_t n = read(fd, buffer, sizeof buffer);
		if (n <= 0)
			return 0;
		if (buffer[n - 1] == '\n')
			return 1;
	}
}

static void say(int fd, const char *text, size_t length) {
	while (length > 0) {
		ssize_t n = write(fd, text, length);
		if (n < 0)
			die("write");
		text += n, length -= (size_t)n;
	}
}

static int terminal(const char *path) {
	struct termios t;
	int fd = open(path, O_RDWR | O_NOCTTY);
	if (fd < 0 || tcgetattr(fd, &t) < 0)
		die(path);
	cfmakeraw(&t);
	t.c_cc[VMIN] = 1, t.c_cc[VTIME] = 0;
	if (tcsetattr(fd, TCSANOW, &t) < 0)
		die(path);
	return fd;
}

static int socket_to(int port) {
	struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons((unsigned short)port)};
	int one = 1, fd = socket(AF_INET, SOCK_STREAM, 0);
	to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
	if (fd < 0 || connect(fd, (struct sockaddr *)&to, sizeof to) < 0)
		die("connect");
	if (setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &one, sizeof one) < 0)
		die("setsockopt");
	return fd;
}

int main(int argc, char **argv) {
	if (argc == 2 && strcmp(argv[1], "serve") == 0) {
		if (fcntl(0, F_SETFL, fcntl(0, F_GETFL) & ~O_NONBLOCK) < 0)
			die("fcntl");
		while (line(0))
			say(1, reply, sizeof reply - 1);
		return 0;
	}
	if (argc != 4 || strcmp(argv[1], "ask") != 0)
		return 2;
	int count = atoi(argv[2]);
	int fd = argv[3][0] == '/' ? terminal(argv[3]) : socket_to(atoi(argv[3]));
	struct timespec from, to;
	clock_gettime(CLOCK_MONOTONIC, &from);
	for (int i = 0; i < count; i++) {
		say(fd, query, sizeof query - 1);
		if (!line(fd))
			die("read");
	}
	clock_gettime(CLOCK_MONOTONIC, &to);
	printf("%.1f\n", ((to.tv_sec - from.tv_sec) * 1e9 + (to.tv_nsec - from.tv_nsec)) / count);
	return 0;
}
