@echo off
rem Register .moue files for this user: a double click on one opens Moue. "register_win32 remove" takes it back.
rem Not tried yet.
if "%1"=="remove" (
  reg delete "HKCU\Software\Classes\.moue" /f
  reg delete "HKCU\Software\Classes\Moue.Document" /f
) else (
  reg add "HKCU\Software\Classes\.moue" /ve /d "Moue.Document" /f
  reg add "HKCU\Software\Classes\Moue.Document" /ve /d "Moue document" /f
  reg add "HKCU\Software\Classes\Moue.Document\shell\open\command" /ve /d "\"%~dp0moue.exe\" open \"%%1\"" /f
)
