/* A Modbus RTU slave of libmodbus with the registers of foreign_test.go. Usage: slave DEVICE UNIT */
#include <errno.h>
#include <modbus.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv)
{
	uint8_t query[MODBUS_RTU_MAX_ADU_LENGTH];
	modbus_t *bus;
	modbus_mapping_t *map;
	int n;

	if (argc != 3)
		return 2;
	bus = modbus_new_rtu(argv[1], 9600, 'N', 8, 1);
	map = modbus_mapping_new_start_address(0, 0, 0, 0, 0, 40, 0, 40);
	if (bus == NULL || map == NULL)
		return 3;
	modbus_set_slave(bus, atoi(argv[2]));
	map->tab_registers[0] = 8505;                                         /* 850.5 in tenths */
	map->tab_registers[1] = (uint16_t)-50;                                /* int16 */
	map->tab_registers[10] = 0x4498, map->tab_registers[11] = 0xd000;     /* 1222.5, abcd */
	map->tab_registers[12] = 0x9844, map->tab_registers[13] = 0x00d0;     /* badc */
	map->tab_registers[14] = 0xd000, map->tab_registers[15] = 0x4498;     /* cdab */
	map->tab_registers[16] = 0x00d0, map->tab_registers[17] = 0x9844;     /* dcba */
	map->tab_registers[20] = 0xffff, map->tab_registers[21] = 0xffce;     /* int32 -50 */
	map->tab_registers[22] = 0x0001, map->tab_registers[23] = 0x0000;     /* uint32 65536 */
	map->tab_registers[30] = 0x7fff;                                      /* open couple */
	map->tab_input_registers[7] = 194;                                    /* 19.4 in tenths */
	if (modbus_connect(bus) == -1) {
		fprintf(stderr, "%s: %s\n", argv[1], modbus_strerror(errno));
		return 4;
	}
	puts("ready");
	fflush(stdout);
	for (;;) {
		n = modbus_receive(bus, query);
		if (n > 0)
			modbus_reply(bus, query, n, map);
		else if (n == -1 && errno != EMBBADCRC && errno != ETIMEDOUT)
			return 5;
	}
}
