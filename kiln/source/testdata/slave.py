"""A Modbus RTU slave of pymodbus with the registers of foreign_test.go. Usage: slave.py DEVICE UNIT"""
import sys

from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.server import StartSerialServer
from pymodbus.transaction import ModbusRtuFramer

device, unit = sys.argv[1], int(sys.argv[2])
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
slave = ModbusSlaveContext(hr=block(0, holding), ir=block(0, inputs), zero_mode=True)
print("ready", flush=True)
StartSerialServer(context=ModbusServerContext(slaves={unit: slave}, single=False),
                  framer=ModbusRtuFramer, port=device, baudrate=9600)
