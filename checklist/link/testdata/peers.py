#!/usr/bin/python3
"""Peers that were not written here, as board and as controller.

peers.py LIBRARY board PORT UNIT   writes coils 173, then 20 to 29, and reads 20 to 38
                                   (Application Protocol V1.1b3, 6.5, 6.11, 6.1); prints
                                   what it read, a 0 or 1 each
peers.py LIBRARY controller        prints its port and answers until its input ends

LIBRARY is pymodbus (Debian python3-pymodbus) or libmodbus (Debian libmodbus5).
"""
import ctypes
import os
import socket
import sys
import threading

TEN = [1, 0, 1, 1, 0, 0, 1, 1, 1, 0]  # coils 20 to 29 of 6.11


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def until_input_ends():
    sys.stdin.read()
    os._exit(0)


def pymodbus_board(port, unit):
    from pymodbus.client import ModbusTcpClient

    c = ModbusTcpClient("127.0.0.1", port=port)
    assert c.connect()
    assert not c.write_coil(172, True, slave=unit).isError()
    assert not c.write_coils(19, [bool(v) for v in TEN], slave=unit).isError()
    r = c.read_coils(19, 19, slave=unit)
    assert not r.isError()
    print("".join(str(int(b)) for b in r.bits[:19]))
    c.close()


def pymodbus_controller():
    from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
    from pymodbus.server import StartTcpServer

    port = free_port()
    block = ModbusSlaveContext(co=ModbusSequentialDataBlock(0, [0] * 2000), zero_mode=True)
    threading.Thread(target=until_input_ends, daemon=True).start()
    print(port, flush=True)
    StartTcpServer(context=ModbusServerContext(slaves=block, single=True), address=("127.0.0.1", port))


def libmodbus():
    lib = ctypes.CDLL("libmodbus.so.5", use_errno=True)
    lib.modbus_new_tcp.restype = ctypes.c_void_p
    lib.modbus_new_tcp.argtypes = [ctypes.c_char_p, ctypes.c_int]
    lib.modbus_mapping_new.restype = ctypes.c_void_p
    for name, args in {
        "modbus_connect": [], "modbus_close": [], "modbus_set_slave": [ctypes.c_int],
        "modbus_write_bit": [ctypes.c_int, ctypes.c_int],
        "modbus_write_bits": [ctypes.c_int, ctypes.c_int, ctypes.c_char_p],
        "modbus_read_bits": [ctypes.c_int, ctypes.c_int, ctypes.c_char_p],
        "modbus_tcp_listen": [ctypes.c_int], "modbus_tcp_accept": [ctypes.POINTER(ctypes.c_int)],
        "modbus_receive": [ctypes.c_char_p], "modbus_reply": [ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p],
    }.items():
        getattr(lib, name).argtypes = [ctypes.c_void_p] + args
    return lib


def libmodbus_board(port, unit):
    lib = libmodbus()
    c = lib.modbus_new_tcp(b"127.0.0.1", port)
    assert lib.modbus_set_slave(c, unit) == 0
    assert lib.modbus_connect(c) == 0
    assert lib.modbus_write_bit(c, 172, 1) == 1
    assert lib.modbus_write_bits(c, 19, 10, bytes(TEN)) == 10
    read = ctypes.create_string_buffer(19)
    assert lib.modbus_read_bits(c, 19, 19, read) == 19
    print("".join(str(b) for b in read.raw))
    lib.modbus_close(c)


def libmodbus_controller():
    lib = libmodbus()
    port = free_port()
    c = lib.modbus_new_tcp(b"127.0.0.1", port)
    mapping = lib.modbus_mapping_new(1000, 0, 0, 0)  # coils only, fewer than 0x04A1
    s = ctypes.c_int(lib.modbus_tcp_listen(c, 1))
    assert s.value >= 0
    threading.Thread(target=until_input_ends, daemon=True).start()
    print(port, flush=True)
    query = ctypes.create_string_buffer(260)
    while True:
        lib.modbus_tcp_accept(c, ctypes.byref(s))
        while (n := lib.modbus_receive(c, query)) > 0:
            lib.modbus_reply(c, query, n, mapping)
        lib.modbus_close(c)


library, role = sys.argv[1:3]
if role == "board":
    {"pymodbus": pymodbus_board, "libmodbus": libmodbus_board}[library](int(sys.argv[3]), int(sys.argv[4]))
else:
    {"pymodbus": pymodbus_controller, "libmodbus": libmodbus_controller}[library]()
