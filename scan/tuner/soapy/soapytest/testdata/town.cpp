// A module for SoapySDR whose radios stand in a test: every call goes over a socket
// to a server there, and what that answers is what the radio does. See server.go for
// the words of either side.
//
// A radio has the argument port=N, or the environment variable SOAPYTOWN_PORT.
#include <SoapySDR/Device.hpp>
#include <SoapySDR/Errors.h>
#include <SoapySDR/Formats.hpp>
#include <SoapySDR/Registry.hpp>
#include <SoapySDR/Version.hpp>

#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cstdlib>
#include <cstring>
#include <mutex>
#include <sstream>
#include <stdexcept>
#include <vector>

namespace {

// Line is a connection on which a line is asked and a line is answered.
class Line {
public:
	explicit Line(int port) : fd(socket(AF_INET, SOCK_STREAM, 0))
	{
		sockaddr_in to{};
		to.sin_family = AF_INET;
		to.sin_port = htons(port);
		to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
		if (fd < 0 || connect(fd, reinterpret_cast<sockaddr *>(&to), sizeof to) != 0) {
			if (fd >= 0)
				close(fd);
			throw std::runtime_error("town: there is no radio at this port.");
		}
		int on = 1;
		setsockopt(fd, IPPROTO_TCP, TCP_NODELAY, &on, sizeof on);
	}
	~Line() { close(fd); }
	Line(const Line &) = delete;

	void put(const std::string &s)
	{
		for (size_t at = 0; at < s.size();) {
			ssize_t n = send(fd, s.data() + at, s.size() - at, MSG_NOSIGNAL);
			if (n <= 0)
				throw std::runtime_error("town: the radio is gone.");
			at += n;
		}
	}
	void get(void *to, size_t len)
	{
		for (char *p = static_cast<char *>(to); len > 0;) {
			ssize_t n = recv(fd, p, len, 0);
			if (n <= 0)
				throw std::runtime_error("town: the radio is gone.");
			p += n;
			len -= n;
		}
	}
	// line returns the next line without its end. Lines are short and rare.
	std::string line()
	{
		std::string s;
		for (char c;;) {
			get(&c, 1);
			if (c == '\n')
				return s;
			s += c;
		}
	}

private:
	int fd;
};

class Radio : public SoapySDR::Device {
public:
	explicit Radio(int port) : port(port), control(port)
	{
		control.put("control\n");
		std::istringstream facts(ask("facts"));
		for (std::string word; facts >> word;) {
			size_t eq = word.find('=');
			know[word.substr(0, eq)] = word.substr(eq + 1);
		}
	}

	std::string getDriverKey() const override { return "town"; }
	std::string getHardwareKey() const override { return know.at("hardware"); }
	size_t getNumChannels(const int direction) const override { return direction == SOAPY_SDR_RX ? number("receivers") : 0; }

	std::vector<std::string> listAntennas(const int, const size_t) const override { return {"ROOF", "ATTIC"}; }
	void setAntenna(const int, const size_t, const std::string &name) override { ask("antenna " + name); }
	std::string getAntenna(const int, const size_t) const override { return ask("antenna?"); }

	bool hasDCOffsetMode(const int, const size_t) const override { return true; }
	void setDCOffsetMode(const int, const size_t, const bool on) override { ask(on ? "dc 1" : "dc 0"); }
	bool hasGainMode(const int, const size_t) const override { return true; }
	void setGainMode(const int, const size_t, const bool on) override { ask(on ? "agc 1" : "agc 0"); }

	std::vector<std::string> listGains(const int, const size_t) const override { return {"LNA", "VGA"}; }
	void setGain(const int, const size_t, const std::string &name, const double dB) override { ask("gain " + name + " " + std::to_string(dB)); }
	double getGain(const int, const size_t, const std::string &name) const override { return std::stod(ask("gain? " + name)); }
	SoapySDR::Range getGainRange(const int, const size_t, const std::string &name) const override
	{
		return name == "LNA" ? SoapySDR::Range(0, 30) : SoapySDR::Range(0, number("vga"));
	}

	void setFrequency(const int, const size_t, const double hz, const SoapySDR::Kwargs &) override { ask("frequency " + std::to_string(hz)); }
	double getFrequency(const int, const size_t) const override { return std::stod(ask("frequency?")); }
	SoapySDR::RangeList getFrequencyRange(const int, const size_t) const override { return ranges("reach"); }
	void setSampleRate(const int, const size_t, const double hz) override { ask("rate " + std::to_string(hz)); }
	double getSampleRate(const int, const size_t) const override { return std::stod(ask("rate?")); }
	SoapySDR::RangeList getSampleRateRange(const int, const size_t) const override { return ranges("rates"); }
	void setBandwidth(const int, const size_t, const double hz) override { ask("bandwidth " + std::to_string(hz)); }
	SoapySDR::RangeList getBandwidthRange(const int, const size_t) const override { return ranges("filters"); }

	bool hasHardwareTime(const std::string &) const override { return number("time"); }
	long long getHardwareTime(const std::string &) const override { return std::stoll(ask("time?")); }

	SoapySDR::ArgInfoList getSettingInfo() const override
	{
		SoapySDR::ArgInfoList out;
		for (const char *key : {"notch", "biastee_ctrl"}) {
			SoapySDR::ArgInfo info;
			info.key = key;
			info.value = "false";
			info.type = SoapySDR::ArgInfo::BOOL;
			out.push_back(info);
			if (!number("bias"))
				break;
		}
		return out;
	}
	void writeSetting(const std::string &key, const std::string &value) override { ask("setting " + key + " " + value); }

	std::string getNativeStreamFormat(const int, const size_t, double &fullScale) const override
	{
		fullScale = std::stod(know.at("fullscale"));
		return know.at("format");
	}
	std::vector<std::string> getStreamFormats(const int, const size_t) const override { return {know.at("format")}; }

	SoapySDR::Stream *setupStream(const int, const std::string &format, const std::vector<size_t> &, const SoapySDR::Kwargs &) override
	{
		if (format != know.at("format"))
			throw std::runtime_error("town: samples are " + know.at("format") + " only.");
		Line *s = new Line(port);
		s->put("stream\n");
		return reinterpret_cast<SoapySDR::Stream *>(s);
	}
	void closeStream(SoapySDR::Stream *s) override { delete reinterpret_cast<Line *>(s); }
	size_t getStreamMTU(SoapySDR::Stream *) const override { return number("mtu"); }
	int activateStream(SoapySDR::Stream *, const int, const long long, const size_t) override { return std::stoi(ask("start")); }
	int deactivateStream(SoapySDR::Stream *, const int, const long long) override { return std::stoi(ask("stop")); }

	int readStream(SoapySDR::Stream *stream, void *const *buffs, const size_t elems, int &flags, long long &ns, const long us) override
	{
		Line *s = reinterpret_cast<Line *>(stream);
		s->put("read " + std::to_string(elems) + " " + std::to_string(us) + "\n");
		std::istringstream answer(s->line());
		int n = SOAPY_SDR_STREAM_ERROR;
		answer >> n >> flags >> ns;
		if (n > 0)
			s->get(buffs[0], n * number("size"));
		return n;
	}

private:
	int number(const std::string &key) const { return std::stoi(know.at(key)); }
	SoapySDR::RangeList ranges(const std::string &key) const
	{
		SoapySDR::RangeList out;
		std::istringstream list(know.at(key));
		for (std::string one; std::getline(list, one, ',');) {
			double low, high, step;
			if (sscanf(one.c_str(), "%lf:%lf:%lf", &low, &high, &step) == 3)
				out.push_back(SoapySDR::Range(low, high, step));
		}
		return out;
	}
	// ask says a line and returns what is answered; "throw WORDS" is thrown.
	std::string ask(const std::string &what) const
	{
		std::lock_guard<std::mutex> hold(asking);
		control.put(what + "\n");
		std::string got = control.line();
		if (got.compare(0, 6, "throw ") == 0)
			throw std::runtime_error(got.substr(6));
		return got;
	}

	int port;
	mutable Line control;
	mutable std::mutex asking;
	std::map<std::string, std::string> know;
};

int portOf(const SoapySDR::Kwargs &args)
{
	auto given = args.find("port");
	if (given != args.end())
		return std::atoi(given->second.c_str());
	const char *env = std::getenv("SOAPYTOWN_PORT");
	return env ? std::atoi(env) : 0;
}

SoapySDR::KwargsList find(const SoapySDR::Kwargs &args)
{
	int port = portOf(args);
	auto serial = args.find("serial");
	if (port == 0 || (serial != args.end() && serial->second != "TOWN1"))
		return {};
	try {
		Line there(port);
	} catch (const std::exception &) {
		return {}; // unplugged
	}
	return {{{"driver", "town"}, {"label", "Town Radio, on a test's mast"}, {"serial", "TOWN1"}, {"port", std::to_string(port)}}};
}

SoapySDR::Device *make(const SoapySDR::Kwargs &args) { return new Radio(portOf(args)); }

SoapySDR::Registry registry("town", &find, &make, SOAPY_SDR_ABI_VERSION);

} // namespace
