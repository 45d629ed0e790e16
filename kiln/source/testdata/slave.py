"""Modbus RTU slaves of pymodbus with the registers of foreign_test.go. Usage: slave.py DEVICE UNIT[,UNIT...]"""
import sys

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.server import StartSerialServer
try:  # pymodbus 3.8, of Debian 13
    from pymodbus import FramerType
    rtu = FramerType.RTU
except ImportError:  # pymodbus 3.0, of Debian 12
    from pymodbus.transaction import ModbusRtuFramer as rtu

device, units = sys.argv[1], [int(u) for u in sys.argv[2].split(",")]
holding = [0] * 40
holding[0], holding[1] = 8505, 0xFFCE
holding[10:12] = 0x4498, 0xD000
holding[12:14] = 0x9844, 0x00D0
holding[14:16] = 0xD000, 0x4498
holding[16:18] = 0x00D0, 0x9844
holding[20:22] = 0xFFFF, 0xFFCE
holding[22:24] = 0x0001, 0x0000
holding[30] = 0x7FFF
inputs = [0] * 40
inputs[7] = 194
block = ModbusSequentialDataBlock
slave = ModbusSlaveContext(hr=block(1, holding), ir=block(1, inputs))  # address 0 of the line is 1 here
print("ready", flush=True)
StartSerialServer(context=ModbusServerContext(slaves={u: slave for u in units}, single=False),
                  framer=rtu, port=device, baudrate=9600,
                  ignore_missing_slaves=True)  # as on a wire: nobody answers for another
