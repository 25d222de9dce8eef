/* Counts, stops or fails the n-th write to the disk, whoever makes it: Python or SQLite.
 *
 * Loaded with LD_PRELOAD by test_interrupted.py; a child process arms it. Modes: 0 count only; 1 kill -9 before the
 * n-th write; 2 kill -9 with half of the n-th write done; 3 from the n-th write on the disk is full.
 * Watched, a process of mode 1 or 2 is not killed: it waits while another copies the folder, as a kill would leave it,
 * and goes on to the next write but `step`.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdarg.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <sys/types.h>
#include <unistd.h>

static long counted, stop_at, step;
static int armed, mode, ask, go_on;

void interrupt_arm(long at, int how) { counted = 0; stop_at = at; mode = how; step = 0; armed = 1; }
void interrupt_watch(long every, int ask_fd, int go_fd) { step = every; ask = ask_fd; go_on = go_fd; }
long interrupt_count(void) { armed = 0; return counted; }

static void die(void) {
    if (!step) { kill(getpid(), SIGKILL); for (;;) pause(); }
    char told = 0;
    armed = 0;
    if (write(ask, &told, 1) != 1 || read(go_on, &told, 1) != 1) abort();
    stop_at += step; armed = 1;
}

/* 1: go on; 0: the disk is full; -1: write half, then die */
static int next(int writes) {
    if (!armed) return 1;
    counted++;
    if (mode == 1 && counted == stop_at) die();
    if (mode == 2 && counted == stop_at) { if (writes == 1) return -1; die(); }
    if (mode == 3 && counted >= stop_at && writes) { errno = ENOSPC; return 0; }
    return 1;
}

#define REAL(name) static __typeof__(name) *real; if (!real) real = dlsym(RTLD_NEXT, #name)

ssize_t write(int fd, const void *b, size_t n) {
    REAL(write); int go = fd > 2 ? next(1) : 1;
    if (go < 0) { ssize_t half = real(fd, b, n / 2); die(); return half + real(fd, (const char *)b + half, n - half); }
    return go ? real(fd, b, n) : -1;
}
ssize_t pwrite64(int fd, const void *b, size_t n, off64_t o) {
    REAL(pwrite64); int go = next(1);
    if (go < 0) { ssize_t half = real(fd, b, n / 2, o); die(); return half + real(fd, (const char *)b + half, n - half, o + half); }
    return go ? real(fd, b, n, o) : -1;
}
ssize_t pwrite(int fd, const void *b, size_t n, off_t o) { return pwrite64(fd, b, n, o); }
int fsync(int fd) { REAL(fsync); next(0); return real(fd); }
int fdatasync(int fd) { REAL(fdatasync); next(0); return real(fd); }
int ftruncate64(int fd, off64_t n) { REAL(ftruncate64); next(0); return real(fd, n); }
int ftruncate(int fd, off_t n) { return ftruncate64(fd, n); }
int unlink(const char *p) { REAL(unlink); next(0); return real(p); }
int rename(const char *a, const char *b) { REAL(rename); next(0); return real(a, b); }
int mkdir(const char *p, mode_t m) { REAL(mkdir); return next(2) ? real(p, m) : -1; }
int open64(const char *p, int flags, ...) {
    REAL(open64); va_list v; va_start(v, flags); mode_t m = va_arg(v, mode_t); va_end(v);
    if ((flags & O_CREAT) && next(2) == 0) return -1;
    return real(p, flags, m);
}
int open(const char *p, int flags, ...) {
    REAL(open); va_list v; va_start(v, flags); mode_t m = va_arg(v, mode_t); va_end(v);
    if ((flags & O_CREAT) && next(2) == 0) return -1;
    return real(p, flags, m);
}
