/* A stand-in for winmm.dll under wine: MIDI devices that are files. The environment's MIDI_STAND_IN is their folder:
 *
 *   ports.txt   a line for each port, "in NAME" or "out NAME"; read at every look, so that taking a line out is pulling
 *               the cable
 *   NAME.in     messages that the port plays, a line of hexadecimal bytes each; followed as the file grows
 *   NAME.given  when each was handed over, in milliseconds
 *   NAME.out    what the port was sent: when, then the bytes
 *   NAME.busy   while this exists, another program has the port
 *   closing     a number: the console event that is to happen (2 the window is closed, 5 log-off, 6 shutdown); the file
 *               is taken away then
 *
 * As on Windows a port is open in one program at a time, and a process is ended when its handlers for a console event
 * have returned. What drivers do otherwise, and how long anything takes there, this does not show. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <windows.h>
#include <mmsystem.h>

#define EXPORT __declspec(dllexport)
#define MOST_PORTS 32
#define MOST_BUFFERS 16
#define QUERY_INTERFACE (DRV_RESERVED + 12)
#define QUERY_INTERFACE_SIZE (DRV_RESERVED + 13)

typedef char Name[64];
typedef void(CALLBACK *Callback)(HMIDIIN, UINT, DWORD_PTR, DWORD_PTR, DWORD_PTR);

typedef struct {
  Name name;
  HANDLE claim;
  FILE *sent;
  FILE *given;
  Callback callback;
  DWORD_PTR instance;
  HANDLE thread;
  volatile LONG stopping, started;
  MIDIHDR *buffers[MOST_BUFFERS];
  int count;
} Port;

static char folder[MAX_PATH];

static double now(void) {
  LARGE_INTEGER count, frequency;
  QueryPerformanceCounter(&count);
  QueryPerformanceFrequency(&frequency);
  return count.QuadPart * 1000.0 / frequency.QuadPart;
}

static void path_of(char *path, const char *name, const char *ending) {
  snprintf(path, MAX_PATH, "%s\\%s%s", folder, name, ending);
}

static int exists(const char *name, const char *ending) {
  char path[MAX_PATH];
  path_of(path, name, ending);
  return GetFileAttributesA(path) != INVALID_FILE_ATTRIBUTES;
}

static FILE *open_file(const char *name, const char *ending, const char *mode) {
  char path[MAX_PATH];
  path_of(path, name, ending);
  return fopen(path, mode);
}

BOOL WINAPI DllMain(HINSTANCE self, DWORD reason, LPVOID reserved) {
  if (reason == DLL_PROCESS_ATTACH) GetEnvironmentVariableA("MIDI_STAND_IN", folder, MAX_PATH);
  return TRUE;
}

/* The ports of one side, "in " or "out ". */
static int look(const char *side, Name names[MOST_PORTS]) {
  FILE *file = open_file("ports", ".txt", "rb");
  if (!file) return 0;
  char line[128];
  int count = 0;
  size_t length = strlen(side);
  while (fgets(line, sizeof line, file) && count < MOST_PORTS) {
    line[strcspn(line, "\r\n")] = 0;
    if (strncmp(line, side, length)) continue;
    snprintf(names[count], sizeof(Name), "%s", line + length);
    count++;
  }
  fclose(file);
  return count;
}

static UINT number_of(const char *side) {
  Name names[MOST_PORTS];
  return look(side, names);
}

static MMRESULT name_of(const char *side, UINT_PTR number, WCHAR *name) {
  Name names[MOST_PORTS];
  if ((int)number >= look(side, names)) return MMSYSERR_BADDEVICEID;
  memset(name, 0, MAXPNAMELEN * sizeof *name);
  MultiByteToWideChar(CP_UTF8, 0, names[number], -1, name, MAXPNAMELEN);
  name[MAXPNAMELEN - 1] = 0;
  return MMSYSERR_NOERROR;
}

/* What tells a port from others: its path as a device. */
static MMRESULT query(const char *side, UINT_PTR number, UINT message, DWORD_PTR first) {
  Name names[MOST_PORTS];
  if ((int)number >= look(side, names)) return MMSYSERR_BADDEVICEID;
  char text[128];
  WCHAR wide[128];
  snprintf(text, sizeof text, "\\\\?\\stand-in#%s#%s", side, names[number]);
  int size = MultiByteToWideChar(CP_UTF8, 0, text, -1, wide, 128) * sizeof *wide;
  if (message == QUERY_INTERFACE_SIZE) {
    *(ULONG *)first = size;
  } else if (message == QUERY_INTERFACE) {
    memcpy((void *)first, wide, size);
  } else {
    return MMSYSERR_NOTSUPPORTED;
  }
  return MMSYSERR_NOERROR;
}

static MMRESULT open_port(const char *side, UINT number, Port **opened) {
  Name names[MOST_PORTS];
  if ((int)number >= look(side, names)) return MMSYSERR_BADDEVICEID;
  if (exists(names[number], ".busy")) return MMSYSERR_ALLOCATED;
  char path[MAX_PATH], ending[16];
  snprintf(ending, sizeof ending, ".%s.claim", strcmp(side, "in ") ? "out" : "in");
  path_of(path, names[number], ending);
  HANDLE claim = CreateFileA(path, GENERIC_WRITE, 0, 0, OPEN_ALWAYS, 0, 0);
  if (claim == INVALID_HANDLE_VALUE) return MMSYSERR_ALLOCATED;
  Port *port = calloc(1, sizeof *port);
  memcpy(port->name, names[number], sizeof(Name));
  port->claim = claim;
  *opened = port;
  return MMSYSERR_NOERROR;
}

/* What Windows does at a console event: it runs the handlers, and ends the process when they have returned. */
static void happen(void) {
  char path[MAX_PATH];
  path_of(path, "closing", "");
  FILE *file = fopen(path, "rb");
  if (!file) return;
  unsigned event = 0;
  int read = fscanf(file, "%u", &event);
  fclose(file);
  if (read != 1 || !DeleteFileA(path)) return;
  LPTHREAD_START_ROUTINE handlers =
      (LPTHREAD_START_ROUTINE)GetProcAddress(GetModuleHandleA("kernelbase.dll"), "CtrlRoutine");
  if (!handlers) {
    fprintf(stderr, "stand-in: this wine cannot run handlers\n");
    return;
  }
  HANDLE thread = CreateThread(0, 0, handlers, (LPVOID)(DWORD_PTR)event, 0, 0);
  DWORD waited = WaitForSingleObject(thread, 5000);
  fprintf(stderr, "stand-in: handlers %s\n", waited ? "took too long" : "returned");
  fflush(stderr);
  TerminateProcess(GetCurrentProcess(), 0xC000013A);
}

/* Hands over the lines that were written into a port's file since; returns where it has read to. */
static long hand_over(Port *port, long from) {
  FILE *file = open_file(port->name, ".in", "rb");
  if (!file) return from;
  char line[256];
  fseek(file, from, SEEK_SET);
  while (!port->stopping && fgets(line, sizeof line, file) && strchr(line, '\n')) {
    from = ftell(file);
    unsigned bytes[3] = {0, 0, 0};
    if (sscanf(line, "%x %x %x", bytes, bytes + 1, bytes + 2) < 1 || !port->started) continue;
    fprintf(port->given, "%.3f %s", now(), line);
    fflush(port->given);
    port->callback((HMIDIIN)port, MIM_DATA, port->instance, bytes[0] | bytes[1] << 8 | bytes[2] << 16, 0);
  }
  fclose(file);
  return from;
}

static DWORD WINAPI feed(LPVOID parameter) {
  Port *port = parameter;
  long from = 0;
  FILE *file = open_file(port->name, ".in", "rb");
  if (file) {
    fseek(file, 0, SEEK_END);
    from = ftell(file);
    fclose(file);
  }
  while (!port->stopping) {
    from = hand_over(port, from);
    happen();
    Sleep(2);
  }
  return 0;
}

EXPORT UINT WINAPI midiInGetNumDevs(void) { return number_of("in "); }

EXPORT UINT WINAPI midiOutGetNumDevs(void) { return number_of("out "); }

EXPORT MMRESULT WINAPI midiInGetDevCapsW(UINT_PTR number, LPMIDIINCAPSW caps, UINT size) {
  memset(caps, 0, size);
  return name_of("in ", number, caps->szPname);
}

EXPORT MMRESULT WINAPI midiOutGetDevCapsW(UINT_PTR number, LPMIDIOUTCAPSW caps, UINT size) {
  memset(caps, 0, size);
  return name_of("out ", number, caps->szPname);
}

EXPORT MMRESULT WINAPI midiInMessage(HMIDIIN port, UINT message, DWORD_PTR first, DWORD_PTR second) {
  return query("in ", (UINT_PTR)port, message, first);
}

EXPORT MMRESULT WINAPI midiOutMessage(HMIDIOUT port, UINT message, DWORD_PTR first, DWORD_PTR second) {
  return query("out ", (UINT_PTR)port, message, first);
}

EXPORT MMRESULT WINAPI midiInOpen(LPHMIDIIN opened, UINT number, DWORD_PTR callback, DWORD_PTR instance, DWORD flags) {
  Port *port;
  MMRESULT result = open_port("in ", number, &port);
  if (result) return result;
  port->given = open_file(port->name, ".given", "ab");
  port->callback = (Callback)callback;
  port->instance = instance;
  port->thread = CreateThread(0, 0, feed, port, 0, 0);
  *opened = (HMIDIIN)port;
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiInStart(HMIDIIN port) {
  ((Port *)port)->started = 1;
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiInStop(HMIDIIN port) {
  ((Port *)port)->started = 0;
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiInPrepareHeader(HMIDIIN port, LPMIDIHDR header, UINT size) {
  header->dwFlags |= MHDR_PREPARED;
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiInUnprepareHeader(HMIDIIN port, LPMIDIHDR header, UINT size) {
  if (header->dwFlags & MHDR_INQUEUE) return MIDIERR_STILLPLAYING;
  header->dwFlags &= ~MHDR_PREPARED;
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiInAddBuffer(HMIDIIN handle, LPMIDIHDR header, UINT size) {
  Port *port = (Port *)handle;
  if (port->count < MOST_BUFFERS) {
    header->dwFlags |= MHDR_INQUEUE;
    port->buffers[port->count++] = header;
  }
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiInReset(HMIDIIN handle) {
  Port *port = (Port *)handle;
  for (int place = 0; place < port->count; place++) {
    port->buffers[place]->dwFlags = (port->buffers[place]->dwFlags & ~MHDR_INQUEUE) | MHDR_DONE;
    port->buffers[place]->dwBytesRecorded = 0;
  }
  port->count = 0;
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiInClose(HMIDIIN handle) {
  Port *port = (Port *)handle;
  port->stopping = 1;
  WaitForSingleObject(port->thread, 2000);
  fclose(port->given);
  CloseHandle(port->claim);
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiOutOpen(LPHMIDIOUT opened, UINT number, DWORD_PTR callback, DWORD_PTR instance, DWORD flags) {
  Port *port;
  MMRESULT result = open_port("out ", number, &port);
  if (result) return result;
  port->sent = open_file(port->name, ".out", "ab");
  *opened = (HMIDIOUT)port;
  return MMSYSERR_NOERROR;
}

static int is_there(const Port *port) {
  Name names[MOST_PORTS];
  for (int count = look("out ", names); count > 0; count--)
    if (!strcmp(names[count - 1], port->name)) return 1;
  return 0;
}

static MMRESULT write_out(Port *port, const unsigned char *bytes, DWORD count) {
  if (!is_there(port)) return MMSYSERR_NODRIVER;
  fprintf(port->sent, "%.3f", now());
  for (DWORD place = 0; place < count; place++) fprintf(port->sent, " %02x", bytes[place]);
  fputc('\n', port->sent);
  fflush(port->sent);
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiOutShortMsg(HMIDIOUT port, DWORD message) {
  unsigned char bytes[3] = {message & 255, message >> 8 & 255, message >> 16 & 255};
  int kind = bytes[0] >> 4;
  DWORD count = bytes[0] >= 0xF8 ? 1 : kind == 0xC || kind == 0xD || bytes[0] == 0xF3 ? 2 : 3;
  return write_out((Port *)port, bytes, count);
}

EXPORT MMRESULT WINAPI midiOutPrepareHeader(HMIDIOUT port, LPMIDIHDR header, UINT size) {
  header->dwFlags |= MHDR_PREPARED;
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiOutUnprepareHeader(HMIDIOUT port, LPMIDIHDR header, UINT size) {
  header->dwFlags &= ~MHDR_PREPARED;
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI midiOutLongMsg(HMIDIOUT port, LPMIDIHDR header, UINT size) {
  header->dwFlags |= MHDR_DONE;
  return write_out((Port *)port, (unsigned char *)header->lpData, header->dwBufferLength);
}

EXPORT MMRESULT WINAPI midiOutReset(HMIDIOUT port) { return MMSYSERR_NOERROR; }

EXPORT MMRESULT WINAPI midiOutClose(HMIDIOUT handle) {
  Port *port = (Port *)handle;
  fclose(port->sent);
  CloseHandle(port->claim);
  return MMSYSERR_NOERROR;
}

EXPORT MMRESULT WINAPI timeBeginPeriod(UINT period) { return MMSYSERR_NOERROR; }

EXPORT MMRESULT WINAPI timeEndPeriod(UINT period) { return MMSYSERR_NOERROR; }
