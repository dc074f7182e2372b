/* What the two halves of the stand-in for libusb share: libusb.c's handles and
 * requests, transfers.c's queue and events. */
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/time.h>

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

enum op { LIST = 1, OPEN, CLOSE, CLAIM, RELEASE, KERNEL, DETACH, ATTACH, RESET, STRING, CONTROL, STREAM };

/* These are not for who links the library. */
#pragma GCC visibility push(hidden)

/* dial connects to the bus; -1 when there is none. */
int dial(void);

/* all sends or receives n bytes. It returns -1 when the connection has ended. */
int all(int fd, void *p, size_t n, int out);

/* ask_on sends a request and returns the answer's code. in, of up to room bytes,
 * receives its payload; *got says how many came. */
int ask_on(int fd, const uint32_t head[6], const void *out, void *in, uint32_t room, uint32_t *got);

#pragma GCC visibility pop
