-- Things kept by kind and name. KEYS[1]: what all keys begin with. ARGV: the command, the kind, the
-- name, and for `put` the data and how many bytes all of this kind may have, 0 for no bound.
--
-- thing:KIND:NAME  the data
-- things:KIND      sorted set of names, by the order in which they were put
-- used:KIND        sorted set of names, by when they were last read or put, where there is a bound
-- sizes            hash, the kind to the bytes of all its things, where there is a bound
-- counters         hash; field `things` counts what was put

local P = KEYS[1]
local call = redis.call
local command, kind, name, data, most = unpack(ARGV)
local place, names, used = P .. 'thing:' .. kind .. ':', P .. 'things:' .. kind, P .. 'used:' .. kind
local clock = call('TIME')
local now = tonumber(clock[1]) * 1000000 + tonumber(clock[2])

local function remove(which)
    if call('ZREM', used, which) == 1 then
        call('HINCRBY', P .. 'sizes', kind, -call('STRLEN', place .. which))
    end
    call('ZREM', names, which)
    call('DEL', place .. which)
end

if command == 'get' then
    call('ZADD', used, 'XX', now, name)
    return call('GET', place .. name)
end
if command == 'remove' then
    remove(name)
    return 1
end

if call('SETNX', place .. name, data) == 0 then
    return 0
end
call('ZADD', names, call('HINCRBY', P .. 'counters', 'things', 1), name)
most = tonumber(most)
if most > 0 then
    call('ZADD', used, now, name)
    local sum = call('HINCRBY', P .. 'sizes', kind, #data)
    while sum > most do
        local oldest = call('ZRANGE', used, 0, 0)[1]
        if oldest == name then
            break
        end
        remove(oldest)
        sum = tonumber(call('HGET', P .. 'sizes', kind))
    end
end
return 1
