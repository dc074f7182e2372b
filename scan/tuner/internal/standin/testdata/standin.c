/*
 * A stand-in for librtlsdr: the functions that the tests and the dongle server
 * call, over a simulated dongle.
 *
 * While the dongle streams, its time is the samples it makes: a command takes
 * so many of them, and takes effect between two. That those come at the sample
 * rate is only tried, so nothing depends on how busy the computer is.
 *
 * A sample is I = 2 + (MHz of the centre, rounded) mod 250, Q = 37 times its number,
 * mod 256. While the oscillator moves I is 0, until it has settled 1. In test
 * mode each byte is one more than the one before.
 *
 * standin_set(name, value) changes a knob at any time; the environment
 * variable STANDIN_NAME sets it when the library is loaded.
 */
#define _GNU_SOURCE
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>
#include <unistd.h>

static struct knob {
	const char *name;
	long value;
} knobs[] = {
	{"devices", 1},      /* how many are plugged in */
	{"open_rc", 0},      /* what rtlsdr_open returns; it opens if 0 */
	{"open_null", 0},    /* return 0 and no handle, as for a kernel driver that stays */
	{"open_us", 0},      /* how long it takes */
	{"strings_rc", 0},   /* what rtlsdr_get_device_usb_strings returns */
	{"tuner", 5},        /* enum rtlsdr_tuner */
	{"gains", 29},       /* how many gain steps it has, of 29 */
	{"control_us", 300}, /* how long a command takes */
	{"tune_us", 4000},   /* how long a change of frequency takes */
	{"settle_us", 1000}, /* how long the oscillator then settles */
	{"tune_rc", 0},      /* what rtlsdr_set_center_freq returns */
	{"no_counter", 0},   /* test mode does nothing */
	{"queue", 0},        /* how many full buffers are on their way */
	{"odd", 0},          /* hand buffers over in uneven parts */
	{"async_rc", 0},     /* rtlsdr_read_async returns it at once if not 0 */
	{"unplug_after", 0}, /* bytes after which the dongle is gone; 0 never */
	{"silent_after", 0}, /* bytes after which no more come */
	{"stuck", 0},        /* rtlsdr_cancel_async does nothing */
	/* to be looked at */
	{"bias_tee", -1},
	{"agc", -1},
	{"manual", -1},
	{"gain", -1},
	{"direct", 0},
	{"resets", 0},
	{"opened", 0},
	{"closed", 0},
	{"retunes", 0},
};

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

static long *knob(const char *name)
{
	for (size_t i = 0; i < sizeof knobs / sizeof *knobs; i++)
		if (!strcasecmp(knobs[i].name, name))
			return &knobs[i].value;
	fprintf(stderr, "standin: no knob %s\n", name);
	abort();
}

void standin_set(const char *name, long value)
{
	pthread_mutex_lock(&lock);
	*knob(name) = value;
	pthread_mutex_unlock(&lock);
}

long standin_get(const char *name)
{
	pthread_mutex_lock(&lock);
	long v = *knob(name);
	pthread_mutex_unlock(&lock);
	return v;
}

static void count(const char *name)
{
	pthread_mutex_lock(&lock);
	++*knob(name);
	pthread_mutex_unlock(&lock);
}

__attribute__((constructor)) static void from_environment(void)
{
	char env[64] = "STANDIN_";
	for (size_t i = 0; i < sizeof knobs / sizeof *knobs; i++) {
		size_t at = strlen("STANDIN_"), k = 0;
		for (; knobs[i].name[k]; k++) {
			char c = knobs[i].name[k];
			env[at + k] = c >= 'a' && c <= 'z' ? c - 32 : c;
		}
		env[at + k] = 0;
		if (getenv(env))
			knobs[i].value = atol(getenv(env));
	}
}

enum what { NOTHING, FREQ, RATE, TEST };

typedef struct rtlsdr_dev {
	/* the command being carried out; there is none when busy is 0 */
	enum what what;
	uint32_t value;
	long busy; /* samples until it is done */

	uint32_t freq, rate;
	int test;
	long settling; /* samples */
	uint8_t number, counter;
	int running, cancel, gone;
	pthread_mutex_t commanding; /* held by who commands */
	pthread_cond_t done;
} rtlsdr_dev_t;

/* take_effect is called with the lock held. */
static void take_effect(rtlsdr_dev_t *d)
{
	switch (d->what) {
	case NOTHING: break;
	case RATE: d->rate = d->value; break;
	case TEST: d->test = d->value && !*knob("no_counter"); break;
	case FREQ:
		d->freq = d->value;
		d->settling = *knob("settle_us") * (d->rate / 1e6);
		break;
	}
	pthread_cond_broadcast(&d->done);
}

/* make writes the next samples to out, len bytes of them. */
static void make(rtlsdr_dev_t *d, uint8_t *out, uint32_t len)
{
	pthread_mutex_lock(&lock);
	for (uint32_t n = 0; n < len; d->number++) {
		if (d->busy && --d->busy == 0)
			take_effect(d);
		if (d->settling)
			d->settling--;
		if (d->test) {
			out[n++] = d->counter++;
			out[n++] = d->counter++;
			continue;
		}
		int moving = d->busy && d->what == FREQ;
		out[n++] = moving ? 0 : d->settling ? 1 : 2 + (d->freq + 500000) / 1000000 % 250;
		out[n++] = 37 * d->number;
	}
	pthread_mutex_unlock(&lock);
}

/* command carries a command out, in the time that the knob says. */
static int command(rtlsdr_dev_t *d, const char *time, enum what what, uint32_t value)
{
	if (!d)
		return -1;
	pthread_mutex_lock(&d->commanding);
	pthread_mutex_lock(&lock);
	d->what = what;
	d->value = value;
	if (d->running) {
		d->busy = 1 + *knob(time) * (d->rate / 1e6);
		while (d->busy && d->running && !d->gone)
			pthread_cond_wait(&d->done, &lock);
		if (d->busy && !d->gone)
			take_effect(d); /* the stream ended under it */
		d->busy = 0;
	} else if (!d->gone) {
		take_effect(d);
	}
	int gone = d->gone;
	pthread_mutex_unlock(&lock);
	pthread_mutex_unlock(&d->commanding);
	return gone ? -4 : 0;
}

uint32_t rtlsdr_get_device_count(void) { return standin_get("devices"); }

const char *rtlsdr_get_device_name(uint32_t index)
{
	return index < standin_get("devices") ? "Stand-in RTL2832U" : "";
}

static void strings(uint32_t index, char *maker, char *product, char *serial)
{
	if (maker)
		strcpy(maker, "Harbour Works");
	if (product)
		strcpy(product, "Stand-in");
	if (serial)
		sprintf(serial, "STAND%u", index);
}

int rtlsdr_get_device_usb_strings(uint32_t index, char *maker, char *product, char *serial)
{
	int rc = standin_get("strings_rc");
	if (index >= standin_get("devices"))
		return -2;
	if (rc == 0)
		strings(index, maker, product, serial);
	return rc;
}

int rtlsdr_get_usb_strings(rtlsdr_dev_t *d, char *maker, char *product, char *serial)
{
	strings(0, maker, product, serial);
	return d ? 0 : -1;
}

int rtlsdr_get_index_by_serial(const char *serial)
{
	char s[256];
	for (uint32_t i = 0; i < standin_get("devices"); i++) {
		strings(i, NULL, NULL, s);
		if (!strcmp(s, serial))
			return i;
	}
	return standin_get("devices") ? -3 : -2;
}

int rtlsdr_open(rtlsdr_dev_t **out, uint32_t index)
{
	usleep(standin_get("open_us"));
	int rc = standin_get("open_rc");
	if (rc) {
		fprintf(stderr, "usb_open error %d\n", rc);
		return rc;
	}
	if (index >= standin_get("devices"))
		return -1;
	if (standin_get("open_null"))
		return 0;
	rtlsdr_dev_t *d = calloc(1, sizeof *d);
	d->rate = 2048000;
	pthread_mutex_init(&d->commanding, NULL);
	pthread_cond_init(&d->done, NULL);
	count("opened");
	*out = d;
	return 0;
}

int rtlsdr_close(rtlsdr_dev_t *d)
{
	if (!d)
		return -1;
	for (int wait = 1; wait;) {
		pthread_mutex_lock(&lock);
		wait = d->running && !d->gone;
		pthread_mutex_unlock(&lock);
		usleep(1000);
	}
	count("closed");
	free(d);
	return 0;
}

int rtlsdr_set_center_freq(rtlsdr_dev_t *d, uint32_t freq)
{
	int rc = standin_get("tune_rc");
	if (!rc)
		rc = command(d, "tune_us", FREQ, freq);
	if (!rc)
		count("retunes");
	return rc;
}

int rtlsdr_set_sample_rate(rtlsdr_dev_t *d, uint32_t rate) { return command(d, "control_us", RATE, rate); }
int rtlsdr_set_testmode(rtlsdr_dev_t *d, int on) { return command(d, "control_us", TEST, on); }

static int setting(rtlsdr_dev_t *d, const char *name, long value)
{
	int rc = command(d, "control_us", NOTHING, 0);
	if (!rc)
		standin_set(name, value);
	return rc;
}

int rtlsdr_set_tuner_gain(rtlsdr_dev_t *d, int gain) { return setting(d, "gain", gain); }
int rtlsdr_set_tuner_gain_mode(rtlsdr_dev_t *d, int manual) { return setting(d, "manual", manual); }
int rtlsdr_set_agc_mode(rtlsdr_dev_t *d, int on) { return setting(d, "agc", on); }
int rtlsdr_set_direct_sampling(rtlsdr_dev_t *d, int on) { return setting(d, "direct", on); }
int rtlsdr_set_bias_tee(rtlsdr_dev_t *d, int on) { return setting(d, "bias_tee", on); }
int rtlsdr_reset_buffer(rtlsdr_dev_t *d) { count("resets"); return command(d, "control_us", NOTHING, 0); }
int rtlsdr_get_direct_sampling(rtlsdr_dev_t *d) { return standin_get("direct"); }
int rtlsdr_set_offset_tuning(rtlsdr_dev_t *d, int on) { return -2; }
int rtlsdr_get_offset_tuning(rtlsdr_dev_t *d) { return 0; }
int rtlsdr_set_freq_correction(rtlsdr_dev_t *d, int ppm) { return ppm ? 0 : -2; }
int rtlsdr_get_freq_correction(rtlsdr_dev_t *d) { return 0; }
int rtlsdr_set_tuner_if_gain(rtlsdr_dev_t *d, int stage, int gain) { return 0; }
int rtlsdr_set_tuner_bandwidth(rtlsdr_dev_t *d, uint32_t bw) { return 0; }
int rtlsdr_set_xtal_freq(rtlsdr_dev_t *d, uint32_t rtl, uint32_t tuner) { return 0; }
uint32_t rtlsdr_get_center_freq(rtlsdr_dev_t *d) { return d->freq; }
uint32_t rtlsdr_get_sample_rate(rtlsdr_dev_t *d) { return d->rate; }
int rtlsdr_get_tuner_gain(rtlsdr_dev_t *d) { return standin_get("gain"); }
int rtlsdr_get_tuner_type(rtlsdr_dev_t *d) { return standin_get("tuner"); }

int rtlsdr_get_tuner_gains(rtlsdr_dev_t *d, int *gains)
{
	static const int steps[29] = {0, 9, 14, 27, 37, 77, 87, 125, 144, 157, 166, 197, 207, 229, 254,
		280, 297, 328, 338, 364, 372, 386, 402, 421, 434, 439, 445, 480, 496};
	int n = standin_get("gains");
	if (gains)
		memcpy(gains, steps, n * sizeof *steps);
	return n;
}

static double now_us(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec * 1e6 + t.tv_nsec / 1e3;
}

typedef void (*callback_t)(unsigned char *buf, uint32_t len, void *ctx);

/* hand gives a full buffer to the callback, in uneven parts if asked to. */
static void hand(callback_t cb, void *ctx, uint8_t *buf, uint32_t len)
{
	if (!standin_get("odd")) {
		cb(buf, len, ctx);
		return;
	}
	for (uint32_t at = 0, part = 1; at < len; at += part, part = part * 3 + 2) {
		if (part > len - at)
			part = len - at;
		cb(buf + at, part, ctx);
	}
}

int rtlsdr_cancel_async(rtlsdr_dev_t *d)
{
	if (standin_get("stuck"))
		return 0;
	pthread_mutex_lock(&lock);
	int running = d->running;
	if (running)
		d->cancel = 1;
	pthread_mutex_unlock(&lock);
	return running ? 0 : -2;
}

int rtlsdr_read_async(rtlsdr_dev_t *d, callback_t cb, void *ctx, uint32_t buf_num, uint32_t buf_len)
{
	int rc = standin_get("async_rc");
	if (rc)
		return rc;
	if (buf_len == 0 || buf_len % 512)
		buf_len = 16 * 32 * 512;
	enum { MOST = 256 };
	long queue = standin_get("queue");
	if (queue >= MOST)
		queue = MOST - 1;
	uint8_t *full[MOST];
	for (int i = 0; i <= queue; i++)
		full[i] = malloc(buf_len);
	uint64_t made = 0, buffers = 0;
	double due = now_us();

	pthread_mutex_lock(&lock);
	d->running = 1;
	pthread_mutex_unlock(&lock);
	for (int end = 0; !end;) {
		uint8_t *buf = full[buffers++ % (queue + 1)];
		for (uint32_t n = 0, part = 512; n < buf_len && !end; n += part) {
			make(d, buf + n, part);
			made += part;
			pthread_mutex_lock(&lock);
			due += part / 2 * 1e6 / d->rate;
			long unplug = *knob("unplug_after");
			if (unplug && made >= unplug) {
				d->gone = 1;
				fprintf(stderr, "cb transfer status: 5, canceling...\n");
			}
			end = d->cancel || d->gone;
			pthread_mutex_unlock(&lock);
			double early = due - now_us();
			if (early > 1000)
				usleep(early);
		}
		long silent = standin_get("silent_after");
		if (end || (silent && made >= silent))
			continue;
		/* The oldest of queue+1 buffers, once there are so many. */
		if (buffers > queue)
			hand(cb, ctx, full[buffers % (queue + 1)], buf_len);
	}
	for (int i = 0; i <= queue; i++)
		free(full[i]);
	pthread_mutex_lock(&lock);
	d->running = d->cancel = 0;
	pthread_cond_broadcast(&d->done);
	pthread_mutex_unlock(&lock);
	return 0;
}

int rtlsdr_wait_async(rtlsdr_dev_t *d, callback_t cb, void *ctx)
{
	return rtlsdr_read_async(d, cb, ctx, 0, 0);
}
