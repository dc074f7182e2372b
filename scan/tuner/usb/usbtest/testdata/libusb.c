/*
 * A stand-in for libusb-1.0: the functions of its published API that a
 * librtlsdr calls, over a bus that is another process, or this one's Go side
 * (bus.go). What is plugged in there, what it answers to control transfers and
 * what comes from its bulk endpoint is all decided over there; here are the
 * handles, the queue of transfers, events and cancelling (transfers.c).
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
#include "bus.h"

#include <errno.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

static char bus_path[sizeof((struct sockaddr_un *)0)->sun_path];

/* usbbus_at says where the bus listens, for the contexts that follow. */
void usbbus_at(const char *path)
{
	snprintf(bus_path, sizeof bus_path, "%s", path);
}

int dial(void)
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

int all(int fd, void *p, size_t n, int out)
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

int ask_on(int fd, const uint32_t head[6], const void *out, void *in, uint32_t room, uint32_t *got)
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
