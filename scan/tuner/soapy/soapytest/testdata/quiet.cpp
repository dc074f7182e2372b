// SoapySDR's server announces itself on the network through a system service, and
// ends where that does not run. Loaded before the libraries, this stands in for the
// service: it takes every announcement and passes none on.
#include <unistd.h>

extern "C" {
static char there;

void *avahi_client_new(const void *, int, void (*)(void *, int, void *), void *, int *error)
{
	*error = 0;
	return &there;
}
void avahi_client_free(void *) {}
int avahi_client_errno(void *) { return 0; }
int avahi_client_get_state(void *) { return 2; } // running
const char *avahi_client_get_version_string(void *) { return "quiet"; }
const char *avahi_client_get_host_name(void *) { return "quiet"; }
const char *avahi_client_get_host_name_fqdn(void *) { return "quiet.local"; }
const char *avahi_client_get_domain_name(void *) { return "local"; }
void *avahi_entry_group_new(void *, void (*)(void *, int, void *), void *) { return &there; }
int avahi_entry_group_add_service_strlst(void *, int, int, int, const char *, const char *, const char *, const char *, unsigned short, void *) { return 0; }
int avahi_entry_group_commit(void *) { return 0; }
int avahi_entry_group_free(void *) { return 0; }
void *avahi_entry_group_get_client(void *) { return &there; }
int avahi_simple_poll_loop(void *)
{
	for (;;)
		pause();
}
void avahi_simple_poll_quit(void *) {}
}
