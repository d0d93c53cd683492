/* The one function that Rust's library wants of bcryptprimitives.dll, which wine 8 has not. */
#include <windows.h>

BOOLEAN NTAPI SystemFunction036(PVOID buffer, ULONG length);

__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE buffer, SIZE_T length) {
  while (length) {
    ULONG piece = length > 65536 ? 65536 : (ULONG)length;
    if (!SystemFunction036(buffer, piece)) return FALSE;
    buffer += piece;
    length -= piece;
  }
  return TRUE;
}
