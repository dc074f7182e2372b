/*
 * A stand-in for libusb-1.0: the functions of its published API that a
 * librtlsdr calls, over a bus that is another process, or this one's Go side
 * (bus.go). What is plugged in there, what it answers to control transfers and
 * what comes from its bulk endpoint is all decided over there; here are the
 * handles, the queue of transfers, events and cancelling.
 *
 * The bus listens on a Unix socket: the one that usbbus_at was told, or else
 * the environment variable ROOFTONE_USB_BUS. Without either nothing is plugged
 * in, so that no real device is ever touched.
 *
 * Requests are six 32-bit words and a payload, answers two words and a payload,
 * all in the machine's own byte order. A stream is a connection of its own that
 * brings frames of two words, kind and length, and data.
 */
#define _GNU_SOURCE
#include <errno.h>
#include <poll.h>
#include <pthread.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/time.h>
#include <sys/un.h>
#include <time.h>
#include <unistd.h>

/* The published API's codes and layouts. */
enum { OK = 0, IO = -1, INVALID = -2, NO_DEVICE = -4, NOT_FOUND = -5, TIMEOUT = -7, NO_MEM = -11 };
enum { COMPLETED, ERROR, TIMED_OUT, CANCELLED, STALL, GONE, OVERFLOW };

struct libusb_device_descriptor {
	uint8_t bLength, bDescriptorType;
	uint16_t bcdUSB;
	uint8_t bDeviceClass, bDeviceSubClass, bDeviceProtocol, bMaxPacketSize0;
	uint16_t idVendor, idProduct, bcdDevice;
	uint8_t iManufacturer, iProduct, iSerialNumber, bNumConfigurations;
};

typedef struct libusb_context libusb_context;
typedef struct libusb_device libusb_device;
typedef struct libusb_device_handle libusb_device_handle;

struct libusb_transfer {
	libusb_device_handle *dev_handle;
	uint8_t flags;
	unsigned char endpoint, type;
	unsigned int timeout;
	int status; /* enum libusb_transfer_status */
	int length, actual_length;
	void (*callback)(struct libusb_transfer *);
	void *user_data;
	unsigned char *buffer;
	int num_iso_packets;
};

/* A transfer as it is allocated: with what is known of it beside it. */
struct job {
	struct job *next;
	int queued, cancelled;
	struct libusb_transfer transfer;
};

static struct job *job_of(struct libusb_transfer *t)
{
	return (struct job *)((char *)t - offsetof(struct job, transfer));
}

struct libusb_device {
	libusb_context *ctx;
	int refs;
	uint32_t plug; /* which plugging in it is; never the same twice */
	uint8_t bus, address;
	uint16_t vendor, product;
};

struct libusb_device_handle {
	libusb_device *dev;
	libusb_device_handle *next;
	uint32_t id;
	int stream;     /* socket; -1 before the first transfer */
	uint32_t frame; /* bytes of the frame being received that are still to come */
	int gone;
	struct job *first, *last; /* submitted, oldest first */
};

struct libusb_context {
	int bus; /* socket for requests; -1 when there is no bus */
	pthread_mutex_t asking;
	int wake[2];
	pthread_mutex_t lock; /* of handles and jobs */
	libusb_device_handle *handles;
};

static char bus_path[sizeof((struct sockaddr_un *)0)->sun_path];

/* usbbus_at says where the bus listens, for the contexts that follow. */
void usbbus_at(const char *path)
{
	snprintf(bus_path, sizeof bus_path, "%s", path);
}

static int dial(void)
{
	const char *path = bus_path[0] ? bus_path : getenv("ROOFTONE_USB_BUS");
	if (!path || !*path)
		return -1;
	struct sockaddr_un a = {.sun_family = AF_UNIX};
	snprintf(a.sun_path, sizeof a.sun_path, "%s", path);
	int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
	if (fd >= 0 && connect(fd, (struct sockaddr *)&a, sizeof a)) {
		close(fd);
		return -1;
	}
	return fd;
}

static int all(int fd, void *p, size_t n, int out)
{
	for (char *c = p; n;) {
		ssize_t k = out ? send(fd, c, n, MSG_NOSIGNAL) : recv(fd, c, n, 0);
		if (k < 0 && errno == EINTR)
			continue;
		if (k <= 0)
			return -1;
		c += k;
		n -= k;
	}
	return 0;
}

enum op { LIST = 1, OPEN, CLOSE, CLAIM, RELEASE, KERNEL, DETACH, ATTACH, RESET, STRING, CONTROL, STREAM };

/* ask sends a request and returns the answer's code. in, of up to room bytes,
 * receives its payload; *got says how many came. */
static int ask_on(int fd, const uint32_t head[6], const void *out, void *in, uint32_t room, uint32_t *got)
{
	uint32_t answer[2];
	if (all(fd, (void *)head, 24, 1) || (head[5] && all(fd, (void *)out, head[5], 1)) || all(fd, answer, 8, 0))
		return NO_DEVICE;
	uint32_t keep = answer[1] < room ? answer[1] : room;
	if (keep && all(fd, in, keep, 0))
		return NO_DEVICE;
	for (uint32_t rest = answer[1] - keep; rest; rest--) {
		char c;
		if (all(fd, &c, 1, 0))
			return NO_DEVICE;
	}
	if (got)
		*got = keep;
	return (int32_t)answer[0];
}

static int ask(libusb_context *ctx, const uint32_t head[6], const void *out, void *in, uint32_t room, uint32_t *got)
{
	if (ctx->bus < 0)
		return NO_DEVICE;
	pthread_mutex_lock(&ctx->asking);
	int rc = ask_on(ctx->bus, head, out, in, room, got);
	pthread_mutex_unlock(&ctx->asking);
	return rc;
}

static int of_handle(libusb_device_handle *h, enum op op, uint32_t arg)
{
	return ask(h->dev->ctx, (uint32_t[6]){op, h->id, arg}, NULL, NULL, 0, NULL);
}

int libusb_init(libusb_context **out)
{
	libusb_context *ctx = calloc(1, sizeof *ctx);
	if (!ctx)
		return NO_MEM;
	if (pipe(ctx->wake)) {
		free(ctx);
		return IO;
	}
	pthread_mutex_init(&ctx->asking, NULL);
	pthread_mutex_init(&ctx->lock, NULL);
	ctx->bus = dial();
	*out = ctx;
	return OK;
}

void libusb_exit(libusb_context *ctx)
{
	if (!ctx)
		return;
	if (ctx->bus >= 0)
		close(ctx->bus);
	close(ctx->wake[0]);
	close(ctx->wake[1]);
	free(ctx);
}

static void unref(libusb_device *d)
{
	if (d && __atomic_sub_fetch(&d->refs, 1, __ATOMIC_SEQ_CST) == 0)
		free(d);
}

ssize_t libusb_get_device_list(libusb_context *ctx, libusb_device ***out)
{
	enum { MOST = 64 };
	uint32_t on[MOST][3], got = 0;
	if (ask(ctx, (uint32_t[6]){LIST}, NULL, on, sizeof on, &got) < 0)
		got = 0;
	size_t n = got / sizeof on[0];
	libusb_device **list = calloc(n + 1, sizeof *list);
	for (size_t i = 0; i < n; i++) {
		libusb_device *d = calloc(1, sizeof *d);
		*d = (libusb_device){ctx, 1, on[i][0], on[i][1] >> 8, on[i][1], on[i][2] >> 16, on[i][2]};
		list[i] = d;
	}
	*out = list;
	return n;
}

void libusb_free_device_list(libusb_device **list, int unrefs)
{
	for (libusb_device **d = list; d && *d && unrefs; d++)
		unref(*d);
	free(list);
}

int libusb_get_device_descriptor(libusb_device *d, struct libusb_device_descriptor *out)
{
	*out = (struct libusb_device_descriptor){18, 1, 0x0200, 0, 0, 0, 64, d->vendor, d->product, 0x0100, 1, 2, 3, 1};
	return OK;
}

uint8_t libusb_get_bus_number(libusb_device *d) { return d->bus; }
uint8_t libusb_get_device_address(libusb_device *d) { return d->address; }

int libusb_open(libusb_device *d, libusb_device_handle **out)
{
	uint32_t id = 0;
	int rc = ask(d->ctx, (uint32_t[6]){OPEN, d->plug}, NULL, &id, sizeof id, NULL);
	if (rc < 0)
		return rc;
	libusb_device_handle *h = calloc(1, sizeof *h);
	__atomic_add_fetch(&d->refs, 1, __ATOMIC_SEQ_CST);
	h->dev = d;
	h->id = id;
	h->stream = -1;
	pthread_mutex_lock(&d->ctx->lock);
	h->next = d->ctx->handles;
	d->ctx->handles = h;
	pthread_mutex_unlock(&d->ctx->lock);
	*out = h;
	return OK;
}

void libusb_close(libusb_device_handle *h)
{
	if (!h)
		return;
	libusb_context *ctx = h->dev->ctx;
	pthread_mutex_lock(&ctx->lock);
	for (libusb_device_handle **p = &ctx->handles; *p; p = &(*p)->next)
		if (*p == h) {
			*p = h->next;
			break;
		}
	pthread_mutex_unlock(&ctx->lock);
	if (h->stream >= 0)
		close(h->stream);
	of_handle(h, CLOSE, 0);
	unref(h->dev);
	free(h);
}

libusb_device *libusb_get_device(libusb_device_handle *h) { return h->dev; }
int libusb_claim_interface(libusb_device_handle *h, int n) { return of_handle(h, CLAIM, n); }
int libusb_release_interface(libusb_device_handle *h, int n) { return of_handle(h, RELEASE, n); }
int libusb_kernel_driver_active(libusb_device_handle *h, int n) { return of_handle(h, KERNEL, n); }
int libusb_detach_kernel_driver(libusb_device_handle *h, int n) { return of_handle(h, DETACH, n); }
int libusb_attach_kernel_driver(libusb_device_handle *h, int n) { return of_handle(h, ATTACH, n); }
int libusb_reset_device(libusb_device_handle *h) { return of_handle(h, RESET, 0); }

int libusb_get_string_descriptor_ascii(libusb_device_handle *h, uint8_t index, unsigned char *out, int room)
{
	uint32_t got = 0;
	if (room < 1)
		return INVALID;
	int rc = ask(h->dev->ctx, (uint32_t[6]){STRING, h->id, index}, NULL, out, room - 1, &got);
	if (rc < 0)
		return rc;
	out[got] = 0;
	return got;
}

int libusb_control_transfer(libusb_device_handle *h, uint8_t type, uint8_t request, uint16_t value, uint16_t index,
	unsigned char *data, uint16_t length, unsigned int timeout)
{
	int in = type & 0x80;
	uint32_t got = 0;
	int rc = ask(h->dev->ctx,
		(uint32_t[6]){CONTROL, h->id, type | request << 8 | (uint32_t)value << 16, index | (uint32_t)length << 16,
			timeout, in ? 0 : length},
		data, data, in ? length : 0, &got);
	return rc < 0 ? rc : in ? (int)got : rc;
}

struct libusb_transfer *libusb_alloc_transfer(int iso)
{
	struct job *j = calloc(1, sizeof *j);
	return iso || !j ? (free(j), NULL) : &j->transfer;
}

/* unqueue takes a job out of its handle's queue. The lock is held. */
static void unqueue(struct job *j)
{
	libusb_device_handle *h = j->transfer.dev_handle;
	struct job *before = NULL;
	for (struct job *k = h->first; k; before = k, k = k->next) {
		if (k != j)
			continue;
		*(before ? &before->next : &h->first) = j->next;
		if (h->last == j)
			h->last = before;
		break;
	}
	j->queued = 0;
}

void libusb_free_transfer(struct libusb_transfer *t)
{
	if (!t)
		return;
	struct job *j = job_of(t);
	if (j->queued) {
		/* The real one would go on writing to it. */
		fprintf(stderr, "usbbus: a transfer was freed while it was under way\n");
		libusb_context *ctx = t->dev_handle->dev->ctx;
		pthread_mutex_lock(&ctx->lock);
		unqueue(j);
		pthread_mutex_unlock(&ctx->lock);
	}
	free(j);
}

unsigned char *libusb_dev_mem_alloc(libusb_device_handle *h, size_t n) { return calloc(1, n); }

int libusb_dev_mem_free(libusb_device_handle *h, unsigned char *p, size_t n)
{
	free(p);
	return OK;
}

static void wake(libusb_context *ctx)
{
	if (write(ctx->wake[1], "", 1) < 0)
		return; /* full: it is awake */
}

static int start_stream(libusb_device_handle *h)
{
	int fd = dial();
	int rc = fd < 0 ? NO_DEVICE : ask_on(fd, (uint32_t[6]){STREAM, h->id}, NULL, NULL, 0, NULL);
	if (rc < 0) {
		if (fd >= 0)
			close(fd);
		return rc;
	}
	h->stream = fd;
	return OK;
}

int libusb_submit_transfer(struct libusb_transfer *t)
{
	libusb_device_handle *h = t->dev_handle;
	libusb_context *ctx = h->dev->ctx;
	struct job *j = job_of(t);
	pthread_mutex_lock(&ctx->lock);
	int rc = h->gone ? NO_DEVICE : j->queued ? -6 : h->stream < 0 ? start_stream(h) : OK;
	if (rc == OK) {
		t->actual_length = 0;
		t->status = COMPLETED;
		j->next = NULL;
		j->cancelled = 0;
		j->queued = 1;
		*(h->last ? &h->last->next : &h->first) = j;
		h->last = j;
	}
	pthread_mutex_unlock(&ctx->lock);
	wake(ctx);
	return rc;
}

int libusb_cancel_transfer(struct libusb_transfer *t)
{
	struct job *j = job_of(t);
	if (!t->dev_handle)
		return NOT_FOUND;
	libusb_context *ctx = t->dev_handle->dev->ctx;
	pthread_mutex_lock(&ctx->lock);
	int rc = j->queued && !j->cancelled ? OK : NOT_FOUND;
	j->cancelled = j->queued;
	pthread_mutex_unlock(&ctx->lock);
	wake(ctx);
	return rc;
}

enum frame { DATA, SHORT, STATUS };

/* receive moves what the stream has next into the oldest job. It reports
 * whether that is finished. The lock is held. */
static int receive(libusb_device_handle *h)
{
	struct libusb_transfer *t = &h->first->transfer;
	if (!h->frame) {
		uint32_t head[2];
		if (all(h->stream, head, 8, 0)) {
			h->gone = 1;
			return 0;
		}
		if (head[0] == SHORT)
			return 1;
		if (head[0] == STATUS) {
			t->status = head[1];
			return 1;
		}
		h->frame = head[1];
	}
	uint32_t n = t->length - t->actual_length;
	if (n > h->frame)
		n = h->frame;
	if (all(h->stream, t->buffer + t->actual_length, n, 0)) {
		h->gone = 1;
		return 0;
	}
	t->actual_length += n;
	h->frame -= n;
	return t->actual_length == t->length;
}

/* finished takes a job that is over out of its queue. The lock is held. */
static struct job *finished(libusb_context *ctx)
{
	for (libusb_device_handle *h = ctx->handles; h; h = h->next)
		for (struct job *j = h->first; j; j = j->next)
			if (j->cancelled || h->gone) {
				j->transfer.status = h->gone ? GONE : CANCELLED;
				unqueue(j);
				return j;
			}
	return NULL;
}

/* handle calls back what is over. It returns how many those were. */
static int handle(libusb_context *ctx)
{
	for (int n = 0;; n++) {
		pthread_mutex_lock(&ctx->lock);
		struct job *j = finished(ctx);
		pthread_mutex_unlock(&ctx->lock);
		if (!j)
			return n;
		j->transfer.callback(&j->transfer);
	}
}

/* listen_to waits until a stream or a wake comes, and hears what the streams
 * bring. It returns how many transfers that finished. */
static int listen_to(libusb_context *ctx, int ms)
{
	enum { MOST = 16 };
	struct pollfd fd[MOST] = {{.fd = ctx->wake[0], .events = POLLIN}};
	int n = 1, over = 0;
	pthread_mutex_lock(&ctx->lock);
	for (libusb_device_handle *h = ctx->handles; h && n < MOST; h = h->next)
		if (h->first && h->stream >= 0)
			fd[n++] = (struct pollfd){.fd = h->stream, .events = POLLIN};
	pthread_mutex_unlock(&ctx->lock);
	if (poll(fd, n, ms) <= 0)
		return 0;
	if (fd[0].revents) {
		char c[256];
		if (read(ctx->wake[0], c, sizeof c) < 0)
			return 0;
	}
	for (int i = 1; i < n; i++) {
		if (!fd[i].revents)
			continue;
		struct job *j = NULL;
		pthread_mutex_lock(&ctx->lock);
		for (libusb_device_handle *h = ctx->handles; h; h = h->next)
			if (h->stream == fd[i].fd && h->first && receive(h)) {
				j = h->first;
				unqueue(j);
			}
		pthread_mutex_unlock(&ctx->lock);
		if (j) {
			over++;
			j->transfer.callback(&j->transfer);
		}
	}
	return over;
}

static double now_ms(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec * 1e3 + t.tv_nsec / 1e6;
}

int libusb_handle_events_timeout_completed(libusb_context *ctx, struct timeval *tv, int *completed)
{
	double end = now_ms() + tv->tv_sec * 1e3 + tv->tv_usec / 1e3;
	for (;;) {
		double left = end - now_ms();
		if (handle(ctx) || (completed && __atomic_load_n(completed, __ATOMIC_SEQ_CST)))
			return OK;
		/* Short waits, since nothing wakes who changes *completed. */
		if (listen_to(ctx, left < 0 ? 0 : left > 20 ? 20 : left) || left <= 0)
			return OK;
	}
}

static void mark(struct libusb_transfer *t) { *(int *)t->user_data = 1; }

int libusb_bulk_transfer(libusb_device_handle *h, unsigned char endpoint, unsigned char *data, int length, int *got,
	unsigned int timeout)
{
	int done = 0;
	struct libusb_transfer *t = libusb_alloc_transfer(0);
	t->dev_handle = h;
	t->endpoint = endpoint;
	t->type = 2;
	t->length = length;
	t->buffer = data;
	t->callback = mark;
	t->user_data = &done;
	int rc = libusb_submit_transfer(t), late = 0;
	double end = now_ms() + timeout;
	while (rc == OK && !done) {
		libusb_handle_events_timeout_completed(h->dev->ctx, &(struct timeval){0, 10000}, &done);
		if (!done && timeout && now_ms() >= end && !late) {
			late = 1;
			libusb_cancel_transfer(t);
		}
	}
	if (rc == OK) {
		static const int codes[] = {OK, IO, TIMEOUT, IO, -9, NO_DEVICE, -8};
		rc = late ? TIMEOUT : codes[t->status];
		*got = t->actual_length;
	}
	libusb_free_transfer(t);
	return rc;
}
