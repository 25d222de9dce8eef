"""Sound from a device: the only module that knows sounddevice, and thereby PortAudio.

    input_devices()                 InputDevice after InputDevice
    Microphone(device, rate, ...)   with it open: read(timeout_s) gives the next Block, or None when none came
    Beeper(on=...)                  short tones to the ear; without an output it stays silent, and `trouble` says why

The callback only copies what came into a bounded queue. What does not fit is counted: each Block says how many pieces were
lost before it, so that a strike with a hole in it is never taken for a whole one.
Errors are MicrophoneTrouble, one line each.
"""

from __future__ import annotations

import queue
from contextlib import suppress
from types import TracebackType
from typing import Any

import numpy as np
from msgspec import Struct

from tapscan.errors import MicrophoneTrouble
from tapscan.records import FloatArray

BLOCK_S = 0.02
QUEUE_BLOCKS = 1000  # 20 s
LATENCY_S = 0.3  # asked of the device: so long a busy computer may keep it waiting before sound is lost
NO_PORTAUDIO = (
    "no sound devices: the PortAudio library is missing; on Debian or Ubuntu `sudo apt install libportaudio2`, on Windows and macOS "
    "`pip install --force-reinstall sounddevice`. Recordings made elsewhere need none of it (`tapscan scan import`)"
)


class InputDevice(Struct, frozen=True):
    """A device that sound can come from."""

    number: int
    name: str
    host: str  # the sound system it belongs to
    sample_rate_hz: int  # its own
    channels: int
    usual: bool  # the system's choice


class Block(Struct, frozen=True, eq=False):
    """A piece of sound of one channel."""

    samples: FloatArray  # (n,) float32, full scale = 1
    lost: int  # pieces lost just before this one


def _sounddevice() -> Any:
    try:
        import sounddevice
    except (ImportError, OSError):
        raise MicrophoneTrouble(NO_PORTAUDIO) from None
    return sounddevice


def input_devices() -> list[InputDevice]:
    """In the system's order. Raises MicrophoneTrouble without PortAudio."""
    sd = _sounddevice()
    hosts = sd.query_hostapis()
    usual = sd.default.device[0]
    return [
        InputDevice(
            number,
            str(d["name"]),
            str(hosts[d["hostapi"]]["name"]),
            round(d["default_samplerate"]),
            int(d["max_input_channels"]),
            number == usual,
        )
        for number, d in enumerate(sd.query_devices())
        if d["max_input_channels"] > 0
    ]


def look_again() -> None:
    """PortAudio knows only the devices that were there when it began; this makes it begin anew. No stream may be open."""
    sd = _sounddevice()
    with suppress(sd.PortAudioError):  # it had ended already
        sd._terminate()
    sd._initialize()


def chosen_device(wanted: str | None) -> InputDevice:
    """By number, or by a part of its name; None: the system's choice, or the first."""
    devices = input_devices()
    if not devices:
        raise MicrophoneTrouble("no sound input was found; plug a microphone or an interface in")
    if wanted is None:
        return next((d for d in devices if d.usual), devices[0])
    exact = [d for d in devices if str(d.number) == wanted or d.name.lower() == wanted.lower()]
    fits = exact or [d for d in devices if wanted.lower() in d.name.lower()]
    if not fits:
        raise MicrophoneTrouble(f"no sound input is called {wanted!r}; `tapscan mic` lists those there are")
    return fits[0]


class Microphone:
    """An open input. Use it in a `with` block.

    device : number or part of a name, None for the system's choice. sample_rate_hz : None for the device's own.
    channel : 0 for the first.
    """

    def __init__(self, device: str | None, sample_rate_hz: int | None = None, channel: int = 0) -> None:
        self.device = chosen_device(device)
        self.sample_rate_hz = sample_rate_hz or self.device.sample_rate_hz
        if channel >= self.device.channels:
            raise MicrophoneTrouble(
                f"{self.device.name}: has {self.device.channels} channels, no number {channel + 1}; choose another with --channel"
            )
        self.channel = channel
        self.lost = 0
        self._pending = 0
        self._queue: queue.Queue[tuple[FloatArray, int]] = queue.Queue(QUEUE_BLOCKS)
        self._stream: Any = None

    def __enter__(self) -> Microphone:
        sd = _sounddevice()
        try:
            self._stream = sd.InputStream(
                samplerate=self.sample_rate_hz,
                blocksize=round(BLOCK_S * self.sample_rate_hz),
                device=self.device.number,
                channels=self.channel + 1,
                dtype="float32",
                latency=LATENCY_S,
                callback=self._copy,
            )
            self._stream.start()
        except (sd.PortAudioError, ValueError) as problem:
            self._close()
            raise MicrophoneTrouble(
                f"{self.device.name}: cannot be opened ({_plain(problem)}); is it in use elsewhere?"
            ) from None
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._close()

    def _copy(self, data: FloatArray, frames: int, clock: Any, status: Any) -> None:
        """Runs in PortAudio's thread: copies and is gone."""
        missed = 1 if status.input_overflow else 0
        try:
            self._queue.put_nowait((data[:, self.channel].copy(), missed))
        except queue.Full:
            self._pending += 1

    def read(self, timeout_s: float) -> Block | None:
        """The next piece; None when none came in time."""
        try:
            samples, missed = self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return None
        pending, self._pending = self._pending, 0
        self.lost += missed + pending
        return Block(samples, missed + pending)

    @property
    def age_s(self) -> tuple[float, float]:
        """How old the sound is when it is read, at least and at most: what waits in the queue, and the way in, which may be shorter than told."""
        waiting = self._queue.qsize() * BLOCK_S
        return waiting, waiting + (float(self._stream.latency) if self._stream is not None else 0.0)

    def _close(self) -> None:
        stream, self._stream = self._stream, None
        if stream is None:
            return
        with suppress(_sounddevice().PortAudioError):  # a device that has gone cannot be closed either
            stream.abort()
            stream.close()


class Beeper:
    """Tones that say what happened. `trouble` is None as long as they can be heard."""

    def __init__(self, *, on: bool) -> None:
        self.on = on
        self.trouble: str | None = None

    def beep(self, tones: list[tuple[float, float]]) -> float:
        """Start (frequency Hz, seconds) after another; returns after how long they are over, the way out included; 0 when nothing sounds."""
        if not self.on or self.trouble is not None:
            return 0.0
        sd = _sounddevice()
        try:
            rate = round(sd.query_devices(kind="output")["default_samplerate"])
            sd.play(_tones(tones, rate), rate)
        except (sd.PortAudioError, ValueError) as problem:
            self.trouble = f"no beeps: {_plain(problem)}"
            return 0.0
        return float(sd.get_stream().latency) + sum(seconds for _, seconds in tones)


def _tones(tones: list[tuple[float, float]], rate: int) -> FloatArray:
    parts = []
    for frequency_hz, seconds in tones:
        t = np.arange(round(seconds * rate)) / rate
        edge = np.minimum(1.0, np.minimum(t, seconds - t) / 0.005)
        parts.append(0.3 * edge * np.sin(2 * np.pi * frequency_hz * t))
    return np.concatenate(parts).astype(np.float32)


def _plain(problem: Exception) -> str:
    return str(problem).replace("\n", " ").split(" [PaErrorCode")[0].strip() or type(problem).__name__
