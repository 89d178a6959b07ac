-- Things kept by kind and name. KEYS[1]: what all keys begin with. ARGV: the command, the kind, the
-- name, and for `put` the data and how many bytes all may have that make room, 0 for one that stays.
--
-- thing:KIND:NAME  the data
-- things:KIND      sorted set of names, by the order in which they were put
-- evicted          sorted set of what makes room, KIND:NAME, by when it was last read or put
-- counters         hash: things (how many were put), evicted (the bytes of what makes room)

local P = KEYS[1]
local call = redis.call
local command, kind, name, data, most = unpack(ARGV)
local this = kind .. ':' .. name
local clock = call('TIME')
local now = tonumber(clock[1]) * 1000000 + tonumber(clock[2])

local function remove(which)
    local its_kind, its_name = string.match(which, '^([^:]*):(.*)$')
    local size = call('STRLEN', P .. 'thing:' .. which)
    if call('ZREM', P .. 'evicted', which) == 1 then
        call('HINCRBY', P .. 'counters', 'evicted', -size)
    end
    call('ZREM', P .. 'things:' .. its_kind, its_name)
    call('DEL', P .. 'thing:' .. which)
end

if command == 'get' then
    call('ZADD', P .. 'evicted', 'XX', now, this)
    return call('GET', P .. 'thing:' .. this)
end
if command == 'remove' then
    remove(this)
    return 1
end

if call('SETNX', P .. 'thing:' .. this, data) == 0 then
    return 0
end
call('ZADD', P .. 'things:' .. kind, call('HINCRBY', P .. 'counters', 'things', 1), name)
most = tonumber(most)
if most > 0 then
    call('ZADD', P .. 'evicted', now, this)
    call('HINCRBY', P .. 'counters', 'evicted', #data)
    while tonumber(call('HGET', P .. 'counters', 'evicted')) > most do
        local oldest = call('ZRANGE', P .. 'evicted', 0, 0)[1]
        if oldest == this then
            break
        end
        remove(oldest)
    end
end
return 1
