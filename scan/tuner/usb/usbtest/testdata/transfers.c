/* Transfers: their queue, what comes for them, and how they end. */
#define _GNU_SOURCE
#include "bus.h"

#include <poll.h>
#include <stddef.h>
#include <time.h>
#include <unistd.h>

static struct job *job_of(struct libusb_transfer *t)
{
	return (struct job *)((char *)t - offsetof(struct job, transfer));
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
